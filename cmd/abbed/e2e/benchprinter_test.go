package e2e_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/gcode/bench"
)

// TestBenchPlaysOnlyBesideItself: nobody is played at a daemon whose printer is
// another one, which may be real.
func TestBenchPlaysOnlyBesideItself(t *testing.T) {
	s := config.Default()
	s.Port, s.Listen, s.State = "tcp://127.0.0.1:1", "127.0.0.1:0", memoryDir(t)
	h, err := house.Build(t.Context(), house.Plan{Settings: s, Log: process.Logger(t.Output(), process.Level("error"))})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	var own sync.WaitGroup
	own.Go(func() { _ = h.Run(ctx) })
	defer own.Wait()
	defer end()
	dir := t.TempDir()
	text := "listen: " + h.Listen.Addr().String() + "\nstate: " + s.State + "\n"
	if err := os.WriteFile(filepath.Join(dir, "left.yaml"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	b := &demo.BenchPrinter{Dir: t.TempDir(), Operate: "left", Dirs: []string{dir}, Demo: demo.Demo{Scenario: sc, Speed: 60, Out: &out, Errs: &out}}
	late, stop := context.WithTimeout(t.Context(), 30*time.Second)
	defer stop()
	var e *console.Exit
	if err := b.Run(late); !errors.As(err, &e) || e.Code != console.ExitRefused || !strings.Contains(err.Error(), "no person is played") {
		t.Errorf("beside another printer: %v", err)
	}
}

// TestBenchFelt: a second terminal is the hand at a virtual printer that has started in the
// first: it feels, resets, pulls the cable and puts it back under the same name, and has the
// printer measure its map.
func TestBenchFelt(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	b := &demo.Bay{Dir: t.TempDir(), Printer: bench.New(sc, bench.Options{Seed: 1, Speed: 100})}
	ctx, end := context.WithCancel(t.Context())
	wait, err := b.Open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	was := b.Printer.Nodes()
	say := func(word string) string {
		t.Helper()
		code, out, errs := runOn(t, "bench", "--feel", "--dir", b.Dir, word)
		if code != console.ExitDone {
			t.Fatalf("%s: exit %d: %s", word, code, errs)
		}
		return strings.TrimSpace(out)
	}
	for at, want := range map[string]string{"feel": "loose", "0,10": "loose", "9.99": "loose"} {
		if at == "9.99" && b.Printer.Blade(9.99) < 0 {
			want = "tight"
		}
		if got := say(at); got != want {
			t.Errorf("%s: %q, want %q", at, got, want)
		}
	}
	for _, word := range []string{"what", "0"} {
		if code, out, _ := runOn(t, "bench", "--feel", "--dir", b.Dir, word); code != console.ExitUsage || strings.TrimSpace(out) != "Say one of: "+demo.BayWords+"." {
			t.Errorf("%s: exit %d: %s", word, code, out)
		}
	}
	if demo.Felt(-0.01, 0) != "drags" || demo.Felt(-0.03, 0) != "tight" || demo.Felt(0.001, 0) != "loose" {
		t.Error("loose, drags and tight")
	}
	say("measure")
	if equalNodes(was, b.Printer.Nodes()) {
		t.Error("the map is the old one")
	}
	say("unplug")
	if _, err := os.Stat(b.Port()); err == nil {
		t.Error("the port is there without its cable")
	}
	say("plug")
	say("reset")
	if f, err := os.OpenFile(b.Port(), os.O_RDWR, 0); err != nil {
		t.Errorf("plugged in again: %v", err)
	} else {
		_ = f.Close()
	}
	other := &demo.Bay{Dir: b.Dir, Printer: b.Printer}
	if _, err := other.Open(ctx); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("a second one in its place: %v", err)
	}
	end()
	wait()
	if code, _, errs := runOn(t, "bench", "--feel", "--dir", b.Dir, "feel"); code == console.ExitDone || !strings.Contains(errs, "abbed bench") {
		t.Errorf("after its end: exit %d, %s", code, errs)
	}
}

// TestSerialOnly: demo --serial leaves a printer at a pseudo-terminal for a daemon of
// one's own, and refuses what is for the whole job.
func TestSerialOnly(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	if code, _, errs := runOn(t, "demo", "--serial", "--once"); code != console.ExitUsage || !strings.Contains(errs, "--once") {
		t.Errorf("--serial with --once: exit %d, %s", code, errs)
	}
	ctx, end := context.WithCancel(t.Context())
	defer end()
	r, w := io.Pipe()
	c := demo.DemoCommand()
	c.SetArgs([]string{"--serial", "--bench", "healthy"})
	c.SetOut(w)
	var own sync.WaitGroup
	own.Go(func() { _ = w.CloseWithError(c.ExecuteContext(ctx)) })
	defer own.Wait()
	lines := bufio.NewScanner(r)
	for _, want := range []string{"port", "--bed 0,0,235,235"} {
		if !lines.Scan() || !strings.Contains(lines.Text(), want) {
			t.Fatalf("%q, want %q; %v", lines.Text(), want, lines.Err())
		}
		if want == "port" {
			if _, err := os.Stat(lines.Text()); err != nil {
				t.Error(err)
			}
		}
	}
	end()
	if lines.Scan() || lines.Err() != nil {
		t.Errorf("after the end: %q, %v", lines.Text(), lines.Err())
	}
}
