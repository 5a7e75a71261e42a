package bench_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"abbed/gcode/bench"
)

// Each fault that acts on the line or on one command does what it says, and the
// printer counts it.
func TestFaultsOnTheLine(t *testing.T) {
	strike := func(name, when string) bench.Options {
		return bench.Options{Wording: 1, Faults: []bench.Fault{{Name: name, When: when}}}
	}
	sc := scenario(t, "plain-line")
	for _, c := range []struct {
		name, when string
		framed     bool
		do         func(r *rig)
	}{
		{"byte-in", "M115", false, func(r *rig) {
			r.ask("M115")
			if lines := r.ask("M114"); len(lines) != 2 || strings.Contains(lines[0], "X:") {
				r.t.Errorf("%q", lines)
			}
		}},
		{"twice-in", "M115", false, func(r *rig) {
			r.ask("M115")
			r.ask("M114")
			r.answer("the same again", time.Minute)
		}},
		{"resend-storm", "", true, func(r *rig) {
			r.ask("M115")
			for range 40 {
				if lines := r.ask(framed(1, "M115")); strings.Count(strings.Join(lines, "\n"), "1")+strings.Count(strings.Join(lines, "\n"), "rs") < 3 {
					r.t.Fatalf("%q", lines)
				}
			}
			if lines := r.ask(framed(1, "M114")); len(lines) != 2 {
				r.t.Errorf("after the storm: %q", lines)
			}
		}},
		{"wrong-number", "M114", true, func(r *rig) {
			r.ask(framed(1, "M114"))
			if lines := r.ask(framed(2, "M114")); !strings.Contains(strings.Join(lines, "\n"), "9") {
				r.t.Errorf("asks for %q", lines)
			}
		}},
		{"busy", "M114", false, func(r *rig) {
			began := time.Now()
			lines := r.ask("M114")
			if took := time.Since(began); took < 300*time.Second || took > 302*time.Second || len(lines) < 145 {
				r.t.Errorf("%v, %d lines", took, len(lines))
			}
		}},
		{"chatter", "M115", false, func(r *rig) {
			if n := len(r.ask("M115")); n < 100 {
				r.t.Errorf("%d lines", n)
			}
			if n := len(r.ask("M114")); n < 8 {
				r.t.Errorf("%d lines", n)
			}
		}},
		{"split", "M115", false, func(r *rig) {
			began := time.Now()
			n := len(r.ask("M115"))
			if took, want := time.Since(began), time.Duration(2*n)*700*time.Millisecond; took < want || took > want+time.Second {
				r.t.Errorf("%v for %d lines", took, n)
			}
		}},
		{"glued", "M114", false, func(r *rig) {
			r.send("M114")
			if s := <-r.lines; !strings.Contains(s, "0ok") {
				r.t.Errorf("%q", s)
			}
		}},
		{"nuls", "M114", false, func(r *rig) {
			if lines := r.answer0("M114"); strings.Count(lines, "\x00") < 6 {
				r.t.Errorf("%q", lines)
			}
		}},
		{"long-line", "M114", false, func(r *rig) {
			if n := len(r.ask("M114")[0]); n < 9000 || n > 11000 {
				r.t.Errorf("%d bytes", n)
			}
		}},
		{"half-open", "M114", false, func(r *rig) {
			r.send("M114")
			r.silent(time.Minute)
			r.send("M112")
			r.silent(time.Minute)
			if r.p.Safety().Halts > 0 {
				r.t.Error("the bytes went somewhere")
			}
		}},
		{"slow-line", "M114", false, func(r *rig) {
			began := time.Now()
			n := len(strings.Join(r.ask("M114"), "\n")) + 1
			want := time.Duration(n) * 10 * time.Second / 1200
			if took := time.Since(began); took < want || took > want+50*time.Millisecond {
				r.t.Errorf("%v for %d bytes, want %v", took, n, want)
			}
		}},
		{"out-of-reach", "G28", false, func(r *rig) {
			r.ask("G28")
			touches := r.p.Safety().Touches
			r.ask("G30 X100 Y100")
			if r.p.Safety().Touches != touches {
				r.t.Error("touched all the same")
			}
			r.touch(100, 100)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			of := sc
			of.NoFraming = !c.framed
			onWire(t, of, strike(c.name, c.when), func(r *rig) {
				c.do(r)
				if r.p.Struck(c.name) == 0 {
					r.t.Error("it did not strike")
				}
			})
		})
	}
}

// answer0 asks, and returns the raw lines.
func (r *rig) answer0(line string) string {
	r.send(line)
	time.Sleep(time.Second)
	raw := ""
	for len(r.lines) > 0 {
		raw += <-r.lines + "\n"
	}
	return raw
}

func TestParseFault(t *testing.T) {
	for _, name := range bench.Faults() {
		if bench.FaultSays(name) == "" {
			t.Errorf("%s says nothing", name)
		}
		for _, when := range []string{"", "@7", "@G30", "@g38.2:7"} {
			if f, err := bench.ParseFault(name + when); err != nil || f.Name != name {
				t.Errorf("%s%s: %v %v", name, when, f, err)
			}
		}
	}
	for _, bad := range []string{"", "no-such", "halt@0", "halt@-3", "halt@G30:x", "halt@G30:0", "halt@when?"} {
		if _, err := bench.ParseFault(bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

// With the motors off Z sinks by its own weight, and the bed holds it.
func TestSinking(t *testing.T) {
	for _, c := range []struct {
		sinks float64
		lands int
	}{{3, 0}, {30, 1}} {
		sc := scenario(t, "plain-line")
		sc.Sinks, sc.IdleOff = c.sinks, 0
		onWire(t, sc, bench.Options{Wording: 1}, func(r *rig) {
			r.ask("G28")
			r.ask("G1 Z10 F600")
			r.ask("M400")
			high := r.p.Blade(0)
			r.ask("M84")
			want := max(0, high-c.sinks)
			if gap := r.p.Blade(0); math.Abs(gap-want) > 1e-6 || r.p.Safety().Sunk != c.lands || r.p.Safety().Homed {
				t.Errorf("sinks %v: from %.3f to %.3f, landed %d times", c.sinks, high, gap, r.p.Safety().Sunk)
			}
			if n := r.p.Safety().NozzleTouches(0.05); n != 0 {
				t.Errorf("sinks %v: %d contacts after it", c.sinks, n)
			}
		})
	}
}

// The temperatures in single words, and `wait` between.
func TestShortTemperaturesAndWaits(t *testing.T) {
	sc := scenario(t, "plain-line")
	sc.ShortTemps, sc.Chatter, sc.Waits = true, 10, 3
	onWire(t, sc, bench.Options{Wording: 1}, func(r *rig) {
		time.Sleep(31 * time.Second)
		waits, alone := 0, 0
		for len(r.lines) > 0 {
			switch s := <-r.lines; {
			case s == "wait":
				waits++
			case strings.HasPrefix(s, "T:") && !strings.Contains(s, " "):
				alone++
			}
		}
		if waits != 10 || alone != 3 {
			t.Errorf("%d waits, %d temperatures", waits, alone)
		}
		if line := strings.Join(r.ask("M105"), " "); !strings.Contains(line, "T:22.0/0.0 B:22.0/0.0") {
			t.Errorf("%q", line)
		}
	})
}
