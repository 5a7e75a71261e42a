package process

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"abbed/config/outside"
)

const (
	// firstWait is how long a start waits after one that failed; each further
	// one waits twice as long, mostWait at most.
	firstWait = 2 * time.Second
	mostWait  = 5 * time.Minute
	// steady is how long the program has to run for the count to begin anew.
	steady = 10 * time.Minute
)

// Starts counts the starts that did not come to a good end, in a file that the
// service manager keeps between its own restarts and removes when a person stops
// the service. The wait between restarts grows here and not in the unit because
// systemd can do so only from version 254 on. The zero value counts nothing.
type Starts struct {
	file string // "": nothing is counted
	log  *slog.Logger
}

// StartsOf counts in the runtime directory that the service manager has made.
func StartsOf(m Manager, log *slog.Logger) Starts {
	dir, _, _ := strings.Cut(os.Getenv("RUNTIME_DIRECTORY"), ":")
	if m.say == nil || !filepath.IsAbs(dir) {
		return Starts{}
	}
	return Starts{file: filepath.Join(dir, "starts"), log: log}
}

// waitFor is how long to wait after n starts that failed.
func waitFor(n int) time.Duration {
	if n <= 0 {
		return 0
	}
	return min(firstWait<<min(n-1, 20), mostWait)
}

// Hold counts this start and waits as long as those before it call for. It
// returns the context's error if it ended meanwhile.
func (s Starts) Hold(ctx context.Context, m Manager) error {
	if s.file == "" {
		return nil
	}
	n := s.read()
	s.write(n + 1)
	d := waitFor(n)
	if d == 0 {
		return nil
	}
	s.log.Warn("an earlier start failed: waiting before this one", "failed", n, "wait", d)
	m.wait(d, "waiting "+d.String()+" after "+strconv.Itoa(n)+" starts that failed; see the log")
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		s.write(0)
		return ctx.Err()
	}
}

// Lasting counts anew once the program has run for a while.
func (s Starts) Lasting(ctx context.Context) {
	if s.file == "" {
		return
	}
	t := time.NewTimer(steady)
	defer t.Stop()
	select {
	case <-t.C:
		s.write(0)
	case <-ctx.Done():
	}
}

// Ended counts anew after a good end.
func (s Starts) Ended(err error) {
	if s.file != "" && err == nil {
		s.write(0)
	}
}

// read returns the count; what cannot be read counts as none.
func (s Starts) read() int {
	b, err := outside.Read(s.file, 64)
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			s.log.Warn("the count of failed starts cannot be read", "err", err)
		}
		return 0
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil || n < 0 {
		return 0
	}
	return n
}

func (s Starts) write(n int) {
	if err := os.WriteFile(s.file, []byte(strconv.Itoa(n)+"\n"), 0o600); err != nil {
		s.log.Warn("the count of failed starts cannot be kept", "err", err)
	}
}
