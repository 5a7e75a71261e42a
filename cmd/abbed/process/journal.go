package process

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"syscall"
)

// Level reads a level of the settings, which have been validated.
func Level(name string) slog.Level {
	var l slog.Level
	if err := l.UnmarshalText([]byte(name)); err != nil {
		return slog.LevelInfo
	}
	return l
}

// Logger writes structured lines on w. Into the system's journal it writes no
// time, which the journal adds itself, and says the level in the journal's way.
func Logger(w io.Writer, level slog.Leveler) *slog.Logger {
	o := &slog.HandlerOptions{Level: level}
	if !IntoJournal(w) {
		return slog.New(slog.NewTextHandler(w, o))
	}
	return slog.New(newJournal(w, o))
}

// IntoJournal reports whether w is the stream that the service manager has
// connected with the journal: JOURNAL_STREAM then names its device and inode
// (systemd.exec(5)).
func IntoJournal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	if err != nil {
		return false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && os.Getenv("JOURNAL_STREAM") == fmt.Sprintf("%d:%d", st.Dev, st.Ino)
}

// journal is a handler whose lines begin with their priority, as sd-daemon(3)
// has it: <3> error, <4> warning, <6> information, <7> debug.
type journal struct {
	slog.Handler
	line *prefixed
}

// prefixed writes each line with what stands before it.
type prefixed struct {
	mu     sync.Mutex
	prefix string
	w      io.Writer
}

func newJournal(w io.Writer, o *slog.HandlerOptions) *journal {
	o.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
		if len(groups) == 0 && a.Key == slog.TimeKey {
			return slog.Attr{}
		}
		return a
	}
	line := &prefixed{w: w}
	return &journal{Handler: slog.NewTextHandler(line, o), line: line}
}

// Write writes one line; the handler holds mu.
func (p *prefixed) Write(b []byte) (int, error) {
	n, err := p.w.Write(append([]byte(p.prefix), b...))
	return max(0, n-len(p.prefix)), err
}

// Handle implements slog.Handler.
func (j *journal) Handle(ctx context.Context, r slog.Record) error {
	j.line.mu.Lock()
	defer j.line.mu.Unlock()
	j.line.prefix = priority(r.Level)
	return j.Handler.Handle(ctx, r)
}

// WithAttrs implements slog.Handler.
func (j *journal) WithAttrs(a []slog.Attr) slog.Handler {
	return &journal{Handler: j.Handler.WithAttrs(a), line: j.line}
}

// WithGroup implements slog.Handler.
func (j *journal) WithGroup(name string) slog.Handler {
	return &journal{Handler: j.Handler.WithGroup(name), line: j.line}
}

func priority(l slog.Level) string {
	switch {
	case l >= slog.LevelError:
		return "<3>"
	case l >= slog.LevelWarn:
		return "<4>"
	case l >= slog.LevelInfo:
		return "<6>"
	}
	return "<7>"
}
