package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/config"
	"abbed/gcode/bench"
)

// TestBenchPlaysOnlyBesideItself: nobody is played at a daemon whose printer is
// another one, which may be real.
func TestBenchPlaysOnlyBesideItself(t *testing.T) {
	s := config.Default()
	s.Port, s.Listen, s.State = "tcp://127.0.0.1:1", "127.0.0.1:0", memoryDir(t)
	h, err := build(t.Context(), plan{settings: s, log: logger(t.Output(), levelOf("error"))})
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
	b := &benchPrinter{operate: "left", dirs: []string{dir}, demo: demo{scenario: sc, speed: 60, out: &out, errs: &out}}
	late, stop := context.WithTimeout(t.Context(), 30*time.Second)
	defer stop()
	var e *exit
	if err := b.run(late); !errors.As(err, &e) || e.code != exitRefused || !strings.Contains(err.Error(), "nobody is played") {
		t.Errorf("beside another printer: %v", err)
	}
}
