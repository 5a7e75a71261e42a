package setup_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/setup"
	"abbed/config"
	"abbed/daemon/known"
	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/gcodetest"
	"abbed/gcode/port"
)

// atRate is the printer's end of a serial line that has one rate: at any other,
// what passes is unreadable both ways.
type atRate struct {
	*os.File
	baud  uint32
	fd    int
	mu    sync.Mutex
	heard int // bytes that came at a wrong rate
}

func (a *atRate) right() bool {
	t, err := unix.IoctlGetTermios(a.fd, unix.TCGETS2)
	return err == nil && t.Ospeed == a.baud
}

func (a *atRate) Read(b []byte) (int, error) {
	n, err := a.File.Read(b)
	if !a.right() {
		a.mu.Lock()
		a.heard += n
		a.mu.Unlock()
		for i := range b[:n] {
			b[i] = b[i]<<1 | 0x81 // no line end is left of it
		}
	}
	return n, err
}

func (a *atRate) Write(b []byte) (int, error) {
	if a.right() {
		return a.File.Write(b)
	}
	spoilt := make([]byte, len(b))
	for i := range b {
		spoilt[i] = b[i]<<1 | 0x81
	}
	return a.File.Write(spoilt)
}

// TestDoctorFindsTheRate: the printer answers at one rate only, which is not the
// first that is tried.
func TestDoctorFindsTheRate(t *testing.T) {
	far, near, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer near.Close()
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	line := &atRate{File: far, baud: 250000, fd: int(far.Fd())}
	ended := make(chan error, 1)
	go func() { ended <- bench.New(sc, bench.Options{Seed: 3}).Serve(context.Background(), line) }()
	d := &setup.Doctor{Settings: config.Default(), Errs: t.Output(), Patience: setup.Patience{First: 3 * time.Second, Next: 20 * time.Second}}
	opened := 0
	call, err := d.FindRate(t.Context(), []int{250001, 250000, 57600}, func(ctx context.Context, baud int) (io.ReadWriteCloser, error) {
		opened++
		return port.Open(ctx, port.Spec{Name: near.Name(), Baud: baud})
	})
	if err != nil || call.Baud != 250000 || opened != 2 || line.heard == 0 {
		t.Errorf("answered at %d after %d openings, %v", call.Baud, opened, err)
	}
	if call.Sess != nil {
		if _, err := call.Sess.Ask(t.Context(), gcode.NewQuery("M114")); err != nil {
			t.Error(err)
		}
		call.Sess.Close()
	}
	near.Close()
	far.Close()
	<-ended
}

// visited runs doctor against a virtual printer on a pseudo-terminal.
func visited(t *testing.T, sc bench.Scenario, args ...string) (code int, out, errs string, p *bench.Printer) {
	t.Helper()
	p = bench.New(sc, bench.Options{Seed: 3, Speed: 20})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer stop()
	t.Setenv("HOME", t.TempDir())
	var o, e bytes.Buffer
	code = commands.Main(t.Context(), append([]string{"doctor", "--port", path}, args...), &o, &e)
	return code, o.String(), e.String(), p
}

// TestDoctor: what a visit says, that nothing moved, and that its record is a
// dialogue that can be played.
func TestDoctor(t *testing.T) {
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "said.dialogue")
	code, out, errs, p := visited(t, sc, "--record", file)
	if code != console.ExitDone || !strings.Contains(out, "#bed: [") || !strings.Contains(out, "survey: cannot be done: the bed is not known") {
		t.Errorf("exit %d\n%s\n%s", code, out, errs)
	}
	if s := p.Safety(); s.Touches > 0 || s.Unhomed > 0 || s.Halts > 0 {
		t.Errorf("doctor moved or changed something: %+v", s)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	d, err := gcodetest.Parse(bytes.NewReader(b))
	if err != nil || len(d.Lines) < 20 || !strings.Contains(d.From, "doctor") {
		t.Errorf("%d lines, from %q, %v", len(d.Lines), d.From, err)
	}
	synctest.Test(t, func(t *testing.T) {
		p := d.Play(true)
		sess := gcode.NewSession(p, gcode.Options{})
		defer sess.Close()
		if err := sess.Greet(context.Background()); err != nil {
			t.Fatal(err)
		}
		e, err := known.Examine(context.Background(), sess, config.Default())
		if err := errors.Join(err, p.Err()); err != nil {
			t.Errorf("played: %v", err)
		}
		if l := e.Facts.Lever; l == nil || l.X != sc.Lever[0] || l.Y != sc.Lever[1] || len(e.Facts.Map) == 0 {
			t.Errorf("played, the lever is %v", l)
		}
	})
	if st, err := os.Stat(file); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("the record can be read by others: %v %v", st.Mode(), err)
	}
}

// TestDoctorForPrograms: --json holds the same.
func TestDoctorForPrograms(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sc.Unknown = []string{"M851"}
	code, out, errs, _ := visited(t, sc, "--json", "--bed", "0,0,235,235")
	var found setup.Checkup
	if err := json.Unmarshal([]byte(out), &found); err != nil || code != console.ExitDone {
		t.Fatalf("exit %d, %v\n%s\n%s", code, err, out, errs)
	}
	has := map[string]bool{}
	for _, p := range found.Proposals {
		has[p.Key] = true
	}
	if has["bed"] || !has["map_area"] || !has["zero_at"] || len(found.Answered) < 8 {
		t.Errorf("proposed %v, answered %v", has, found.Answered)
	}
}

// TestDoctorWhenTaken: who has the port is said, and nothing is done.
func TestDoctorWhenTaken(t *testing.T) {
	far, near, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer far.Close()
	defer near.Close()
	held, err := port.Open(t.Context(), port.Spec{Name: near.Name()})
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	t.Setenv("HOME", t.TempDir())
	var out, errs bytes.Buffer
	code := commands.Main(t.Context(), []string{"doctor", "--port", near.Name()}, &out, &errs)
	if code != console.ExitRefused || !strings.Contains(errs.String(), "taken by") || !strings.Contains(errs.String(), "process ") {
		t.Errorf("exit %d: %s", code, errs.String())
	}
}
