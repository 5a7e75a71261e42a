package e2e_test

import (
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

// served is a daemon in a process of its own, beside a virtual printer on a
// real pseudo-terminal.
type served struct {
	cmd *exec.Cmd
	api *client.Client
	say *lines
}

// lines keeps what a process says, and gives the address where it listens.
type lines struct {
	text strings.Builder
	url  chan string
}

var listens = regexp.MustCompile(`abbed listens on (http://\S+)`)

func (l *lines) Write(b []byte) (int, error) {
	l.text.Write(b)
	if m := listens.FindStringSubmatch(l.text.String()); m != nil && l.url != nil {
		l.url <- m[1]
		close(l.url)
		l.url = nil
	}
	return len(b), nil
}

// program builds the program once for the tests that kill it.
func program(t *testing.T) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "abbed")
	if out, err := exec.Command("go", "build", "-o", bin, "abbed/cmd/abbed").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return bin
}

// serve starts a program with its first arguments, and those of serve.
func startServe(t *testing.T, port, state string, sc bench.Scenario, program ...string) *served {
	t.Helper()
	s := demo.DemoSettings(sc, port, "", state)
	url := make(chan string, 1)
	out := &lines{url: url}
	args := append(slices.Clone(program[1:]), "--port", port, "--state", state, "--listen", "127.0.0.1:0",
		"--bed", s.Bed.String(), "--map-area", s.MapArea.String(), "--zero-at", s.ZeroAt.String())
	c := exec.Command(program[0], args...)
	c.Stderr = out
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill() })
	select {
	case base := <-url:
		token, err := os.ReadFile(filepath.Join(state, "token"))
		if err != nil {
			t.Fatal(err)
		}
		return &served{cmd: c, api: client.New(base, strings.TrimSpace(string(token))), say: out}
	case <-time.After(20 * time.Second):
		t.Fatalf("abbed serve does not say where it listens")
	}
	return nil
}

// TestKilled kills the daemon in the middle of the survey. After a new start the
// touches are still there, the run is shown as interrupted, what it had switched
// off is owed, and is put back on the person's word.
func TestKilled(t *testing.T) {
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	printer := bench.New(sc, bench.Options{Seed: 3, Speed: 1000})
	port, unplug, err := bench.Pty(printer)
	if err != nil {
		t.Fatal(err)
	}
	defer unplug()
	bin, state := program(t), t.TempDir()
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()

	d := startServe(t, port, state, sc, bin, "serve")
	seen := 0
	p := &demo.Person{API: d.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(3, 1)), Name: "the played person"}
	p.Seen = func(r api.Run) {
		if r.Step == "survey" && r.Progress.Done >= 40 && seen == 0 {
			seen = r.Touches
			_ = d.cmd.Process.Kill()
			cancel()
		}
	}
	_, err = p.Measure(ctx, "repeat", "gauging", "survey")
	if seen == 0 {
		t.Fatalf("the survey was not seen: %v\n%s", err, d.say.text.String())
	}
	_ = d.cmd.Wait()

	ctx, cancel = context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	d = startServe(t, port, state, sc, bin, "serve")
	runs, err := d.api.Runs(ctx)
	if err != nil || len(runs) != 1 {
		t.Fatalf("runs after the kill: %v, %v", runs, err)
	}
	r := runs[0]
	// A touch is durable within a second of the printer's: at 1000 times real
	// time the batch that was in memory may hold up to its bound of 64.
	if r.State != api.Failed || r.Error == nil || r.Error.Code != "interrupted" || r.Touches < seen-64 || r.Gaugings < 8 {
		t.Errorf("the run after the kill: %s, %+v, %d touches (%d were seen), %d gaugings", r.State, r.Error, r.Touches, seen, r.Gaugings)
	}
	a, err := d.api.Analysis(ctx, r.ID)
	if err != nil || len(a.Findings) == 0 {
		t.Errorf("the analysis of what is there: %+v, %v", a.Findings, err)
	}
	untilPrinter(t, ctx, d.api, func(p api.Printer) bool { return p.Link == api.Ready })
	pr, err := d.api.Printer(ctx)
	if err != nil || len(pr.Owed) == 0 {
		t.Fatalf("owed after the kill: %v, %v", pr.Owed, err)
	}
	if err := d.api.Resolve(ctx, "finish"); err != nil {
		t.Fatal(err)
	}
	untilPrinter(t, ctx, d.api, func(p api.Printer) bool { return len(p.Owed) == 0 })
	if s := printer.Safety(); !s.Levelling || !s.Limits {
		t.Errorf("after putting back: levelling on %v, limits on %v", s.Levelling, s.Limits)
	}
}

func untilPrinter(t *testing.T, ctx context.Context, c *client.Client, so func(api.Printer) bool) {
	t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		p, err := c.Printer(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if so(p) {
			return
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			t.Fatalf("waited in vain; the printer: %+v", p)
		}
	}
}
