package main

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

	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/gcode/bench"
)

// TestBenchPlaysOnlyBesideItself: nobody is played at a daemon whose printer is
// another one, which may be real.
func TestBenchPlaysOnlyBesideItself(t *testing.T) {
	s := config.Default()
	s.Port, s.Listen, s.State = "tcp://127.0.0.1:1", "127.0.0.1:0", memoryDir(t)
	h, err := build(t.Context(), plan{settings: s, log: process.Logger(t.Output(), process.Level("error"))})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	var own sync.WaitGroup
	own.Go(func() { _ = h.run(ctx) })
	defer own.Wait()
	defer end()
	dir := t.TempDir()
	text := "listen: " + h.listen.Addr().String() + "\nstate: " + s.State + "\n"
	if err := os.WriteFile(filepath.Join(dir, "left.yaml"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	b := &benchPrinter{dir: t.TempDir(), operate: "left", dirs: []string{dir}, demo: demo{scenario: sc, speed: 60, out: &out, errs: &out}}
	late, stop := context.WithTimeout(t.Context(), 30*time.Second)
	defer stop()
	var e *exit
	if err := b.run(late); !errors.As(err, &e) || e.code != exitRefused || !strings.Contains(err.Error(), "no person is played") {
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
	b := &bay{dir: t.TempDir(), printer: bench.New(sc, bench.Options{Seed: 1, Speed: 100})}
	ctx, end := context.WithCancel(t.Context())
	wait, err := b.open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	was := b.printer.Nodes()
	say := func(word string) string {
		t.Helper()
		code, out, errs := runOn(t, "bench", "--feel", "--dir", b.dir, word)
		if code != exitDone {
			t.Fatalf("%s: exit %d: %s", word, code, errs)
		}
		return strings.TrimSpace(out)
	}
	for at, want := range map[string]string{"feel": "loose", "0,10": "loose", "9.99": "loose"} {
		if at == "9.99" && b.printer.Blade(9.99) < 0 {
			want = "tight"
		}
		if got := say(at); got != want {
			t.Errorf("%s: %q, want %q", at, got, want)
		}
	}
	for _, word := range []string{"what", "0"} {
		if code, out, _ := runOn(t, "bench", "--feel", "--dir", b.dir, word); code != exitUsage || strings.TrimSpace(out) != "Say one of: "+bayWords+"." {
			t.Errorf("%s: exit %d: %s", word, code, out)
		}
	}
	if felt(-0.01, 0) != "drags" || felt(-0.03, 0) != "tight" || felt(0.001, 0) != "loose" {
		t.Error("loose, drags and tight")
	}
	say("measure")
	if equalNodes(was, b.printer.Nodes()) {
		t.Error("the map is the old one")
	}
	say("unplug")
	if _, err := os.Stat(b.port()); err == nil {
		t.Error("the port is there without its cable")
	}
	say("plug")
	say("reset")
	if f, err := os.OpenFile(b.port(), os.O_RDWR, 0); err != nil {
		t.Errorf("plugged in again: %v", err)
	} else {
		_ = f.Close()
	}
	other := &bay{dir: b.dir, printer: b.printer}
	if _, err := other.open(ctx); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("a second one in its place: %v", err)
	}
	end()
	wait()
	if code, _, errs := runOn(t, "bench", "--feel", "--dir", b.dir, "feel"); code == exitDone || !strings.Contains(errs, "abbed bench") {
		t.Errorf("after its end: exit %d, %s", code, errs)
	}
}

// TestSerialOnly: demo --serial leaves a printer at a pseudo-terminal for a daemon of
// one's own, and refuses what is for the whole job.
func TestSerialOnly(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	if code, _, errs := runOn(t, "demo", "--serial", "--once"); code != exitUsage || !strings.Contains(errs, "--once") {
		t.Errorf("--serial with --once: exit %d, %s", code, errs)
	}
	ctx, end := context.WithCancel(t.Context())
	defer end()
	r, w := io.Pipe()
	c := demoCommand()
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
