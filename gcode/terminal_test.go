package gcode_test

import (
	"context"
	"errors"
	"os"
	"runtime"
	"testing"
	"time"

	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
	"abbed/probe/record"

	"github.com/creack/pty"
)

// The whole way: bench, pseudo-terminal, port, session, dialect, in fast time.
func TestOverAPseudoTerminal(t *testing.T) {
	const speed = 100
	p := bench.New(steady(t), bench.Options{Seed: 4, Speed: speed})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer stop()
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	ctx := context.Background()
	conn := must[*port.Port](t)(port.Open(ctx, port.Spec{Name: path, Baud: 250000}))
	s := gcode.NewSession(conn, gcode.Options{Clock: clock.Fast(speed)})
	defer s.Close()
	if err := s.Greet(ctx); err != nil || !s.Framed() {
		t.Fatalf("framed %v, %v", s.Framed(), err)
	}
	must[gcode.Reply](t)(s.Move(ctx, d.Home()))
	for k := range 5 {
		place := record.Place{U: 80 + 10*float64(k), V: 100}
		r := must[gcode.Reply](t)(s.Move(ctx, d.Touch(place)))
		if x, y, _, _, ok := d.ReadTouch(r); !ok || x != place.U || y != place.V {
			t.Errorf("touch %d: %q", k, texts(r.Lines))
		}
		if took := r.Answered.Sub(r.Sent); took < 200*time.Millisecond || took > time.Minute {
			t.Errorf("touch %d took %v of the job's time", k, took)
		}
	}
	go func() { time.Sleep(10 * time.Millisecond); s.StopNow() }()
	if _, err := s.Move(ctx, d.Home()); !errors.Is(err, gcode.ErrStopped) {
		t.Error(err)
	}
	s.Close()
	if _, err := conn.Write([]byte("x")); !errors.Is(err, os.ErrClosed) {
		t.Error(err)
	}
}

// Opened, greeted and closed many times: nothing stays behind.
func TestNothingStaysBehind(t *testing.T) {
	p := bench.New(steady(t), bench.Options{Seed: 4, Speed: 100})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer stop()
	once := func() {
		conn := must[*port.Port](t)(port.Open(context.Background(), port.Spec{Name: path}))
		s := gcode.NewSession(conn, gcode.Options{Clock: clock.Fast(100)})
		if err := s.Greet(context.Background()); err != nil {
			t.Fatal(err)
		}
		s.Close()
	}
	count := func() (fds, goroutines int) {
		d, _ := os.ReadDir("/proc/self/fd")
		return len(d), runtime.NumGoroutine()
	}
	once()
	fds, goroutines := count()
	for range 10 {
		once()
	}
	f, g := count()
	for range 10_000 { // a goroutine that has said that it is done may not have left the scheduler yet
		if g <= goroutines {
			break
		}
		runtime.Gosched()
		f, g = count()
	}
	if f > fds || g > goroutines {
		t.Errorf("descriptors %d -> %d, goroutines %d -> %d", fds, f, goroutines, g)
	}
}

func BenchmarkAskOverAPseudoTerminal(b *testing.B) {
	far, near, err := pty.Open()
	if err != nil {
		b.Skip(err)
	}
	defer far.Close()
	defer near.Close()
	conn, err := port.Open(context.Background(), port.Spec{Name: near.Name()})
	if err != nil {
		b.Fatal(err)
	}
	s := gcode.NewSession(conn, gcode.Options{})
	defer s.Close()
	go func() {
		buf := make([]byte, 256)
		for {
			if _, err := far.Read(buf); err != nil {
				return
			}
			far.Write([]byte("ok\n"))
		}
	}()
	q, ctx := gcode.NewQuery("M105"), context.Background()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Ask(ctx, q); err != nil {
			b.Fatal(err)
		}
	}
}
