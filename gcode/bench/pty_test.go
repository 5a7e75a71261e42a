package bench_test

import (
	"bufio"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"abbed/gcode/bench"
)

// End to end over a real pseudo-terminal: nothing is echoed, no newline is
// rewritten, and closing the port is no hang-up.
func TestPty(t *testing.T) {
	p := bench.New(scenario(t, "plain-line"), bench.Options{Wording: 1, Speed: 1000})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.WriteString("G28\nM114\n"); err != nil {
			t.Fatal(err)
		}
		var got []string
		timer := time.AfterFunc(10*time.Second, func() { f.Close() })
		for s := bufio.NewScanner(f); s.Scan(); {
			got = append(got, s.Text())
			if len(got) > 1 && strings.HasPrefix(s.Text(), "ok") && with(got, "Count") {
				break
			}
		}
		timer.Stop()
		f.Close()
		if with(got, "G28") || with(got, "\r") || !with(got, "X:117.50") {
			t.Errorf("got %q", got)
		}
	}
	if !p.Safety().Homed {
		t.Error("not homed")
	}
	if err := stop(); err != nil {
		t.Errorf("stop: %v", err)
	}
	if err := stop(); err != nil {
		t.Errorf("stop again: %v", err)
	}
}
