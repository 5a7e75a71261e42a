package process

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// TestJournal: into the journal goes the priority (sd-daemon(3)) and no time,
// also from a logger that was given attributes; anywhere else a time.
func TestJournal(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "stream"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var st syscall.Stat_t
	if err := syscall.Fstat(int(f.Fd()), &st); err != nil {
		t.Fatal(err)
	}
	say := func() string {
		if err := f.Truncate(0); err != nil {
			t.Fatal(err)
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			t.Fatal(err)
		}
		log := Logger(f, slog.LevelDebug)
		log.Debug("a")
		log.With("run", 7).Info("b\nb")
		log.WithGroup("of").Warn("c", "time", 3)
		log.Error("d")
		b, err := os.ReadFile(f.Name())
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	t.Setenv("JOURNAL_STREAM", fmt.Sprintf("%d:%d", st.Dev, st.Ino))
	const want = "<7>level=DEBUG msg=a\n<6>level=INFO msg=\"b\\nb\" run=7\n<4>level=WARN msg=c of.time=3\n<3>level=ERROR msg=d\n"
	if got := say(); got != want {
		t.Errorf("into the journal:\n%swant\n%s", got, want)
	}
	t.Setenv("JOURNAL_STREAM", "1:2") // somebody else's stream
	if got := say(); !strings.HasPrefix(got, "time=") || strings.Contains(got, "<") {
		t.Errorf("elsewhere:\n%s", got)
	}
}
