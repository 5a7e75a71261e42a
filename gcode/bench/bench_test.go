package bench_test

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode/bench"
)

// rig is the near end of a wire to a printer, inside a synctest bubble.
type rig struct {
	t     *testing.T
	p     *bench.Printer
	conn  net.Conn
	lines chan string
	done  chan error
	began time.Time
}

// onWire runs f in a bubble with a printer at the end of a pipe.
func onWire(t *testing.T, sc bench.Scenario, o bench.Options, f func(r *rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		p := bench.New(sc, o)
		r := connect(t, p)
		f(r)
		r.conn.Close()
		if err := <-r.done; err != nil {
			t.Errorf("Serve: %v", err)
		}
	})
}

func connect(t *testing.T, p *bench.Printer) *rig {
	near, far := net.Pipe()
	r := &rig{t: t, p: p, conn: near, lines: make(chan string, 4096), done: make(chan error, 1), began: time.Now()}
	go func() { r.done <- p.Serve(context.Background(), far) }()
	go func() {
		s := bufio.NewScanner(near)
		for s.Scan() {
			r.lines <- strings.TrimRight(s.Text(), "\r")
		}
		close(r.lines)
	}()
	return r
}

func (r *rig) send(line string) { fmt.Fprintf(r.conn, "%s\n", line) }

// ask sends a command and returns all lines up to its ok, which is the last.
func (r *rig) ask(line string) []string {
	r.t.Helper()
	r.send(line)
	return r.answer(line, 10*time.Minute)
}

func (r *rig) answer(line string, patience time.Duration) []string {
	r.t.Helper()
	var got []string
	late := time.After(patience)
	for {
		select {
		case s, open := <-r.lines:
			if !open {
				r.t.Fatalf("%s: the line broke after %q", line, got)
			}
			got = append(got, s)
			if s == "ok" || strings.HasPrefix(s, "ok ") {
				return got
			}
		case <-late:
			r.t.Fatalf("%s: no ok after %v; got %q", line, patience, got)
		}
	}
}

// silent fails when a line comes within d.
func (r *rig) silent(d time.Duration) {
	r.t.Helper()
	select {
	case s := <-r.lines:
		r.t.Errorf("got %q, wanted silence", s)
	case <-time.After(d):
	}
}

var xyz = regexp.MustCompile(`(?i)\bx[ :=]*([-+]?[\d.]+).*?\by[ :=]*([-+]?[\d.]+).*?\bz[ :=]*([-+]?[\d.]+)`)

// numbers takes the last X Y Z out of some lines.
func numbers(lines []string) (v [3]float64, ok bool) {
	for _, s := range lines {
		if m := xyz.FindStringSubmatch(s); m != nil {
			for i := range v {
				v[i], _ = strconv.ParseFloat(m[i+1], 64)
			}
			ok = true
		}
	}
	return v, ok
}

// touch raises, touches at (u, v) and returns the height told.
func (r *rig) touch(u, v float64) float64 {
	r.t.Helper()
	r.ask("G0 Z5")
	lines := r.ask(fmt.Sprintf("G30 X%.2f Y%.2f", u, v))
	n, ok := numbers(lines)
	if !ok {
		r.t.Fatalf("touch at %g %g: %q", u, v, lines)
	}
	return n[2]
}

func scenario(t *testing.T, name string) bench.Scenario {
	t.Helper()
	sc, err := bench.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func TestDialogue(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 1}, func(r *rig) {
		if lines := r.ask("G30 X100 Y100"); func() bool { _, ok := numbers(lines); return ok }() {
			t.Errorf("unhomed touch gave numbers: %q", lines)
		}
		began := time.Now()
		lines := r.ask("G28")
		if took := time.Since(began); took < 5*time.Second || took > 90*time.Second {
			t.Errorf("homing took %v of virtual time", took)
		}
		if !strings.Contains(strings.Join(lines, "\n"), "busy") {
			t.Errorf("no busy line while homing: %q", lines)
		}
		for _, word := range []string{"M115", "M114", "M105", "M851", "M211", "M420 V", "M503", "M27", "M400", "G4 P100", "M84 S600", "G90", "G91", "G90", "M82", "M83",
			"G92 E0", "M140 S40", "M104 S0", "M211 S0", "M211 S1", "M420 S0", "M500", "XYZZY", "M421 I0 J0 Z0.010", "M421 I9 J0 Z0"} {
			lines := r.ask(word)
			t.Logf("%-20s %q", word, lines)
		}
		for _, u := range []float64{20, 60, 117.5, 180, 215} {
			z := r.touch(u, 117.5)
			want := r.p.Truth().Map(u, 117.5)
			if d := z - want; d > 0.03 || d < -0.03 {
				t.Errorf("touch at %g: %.4f, truth %.4f", u, z, want)
			}
		}
		s := r.p.Safety()
		if len(s.Contacts) != 0 || s.LowTravel != 0 || s.Unhomed != 0 || s.OutOfBounds != 0 {
			t.Errorf("safety: %+v", s)
		}
		if s.Touches != 6 || s.Lowest < 1 || s.Lowest > 3 {
			t.Errorf("touches %d, lowest %g", s.Touches, s.Lowest)
		}
	})
}
