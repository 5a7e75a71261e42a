package bench_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"abbed/gcode/bench"
)

// kinds are the violations so far, as kind and act.
func kinds(p *bench.Printer) []string {
	var out []string
	for _, v := range p.Violations() {
		out = append(out, v.Kind+" "+string(v.Act))
	}
	return out
}

// TestWitnessActs: each sin is told with the act that it was, and the person's own
// contact is none.
func TestWitnessActs(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 1, Seed: 3}, func(r *rig) {
		want := func(after string, all ...string) {
			t.Helper()
			if got := kinds(r.p); fmt.Sprint(got) != fmt.Sprint(all) {
				t.Fatalf("after %s: %q, want %q", after, got, all)
			}
		}
		r.p.Promise(5)
		r.ask("G1 X5 F3000")
		r.ask("M400")
		want("a move without homing", "unhomed travel")
		for _, s := range []string{"G28", "M420 S0", "G1 Z5 F900", "G1 X118 Y118 F6000", "M211 S0", "M400"} {
			r.ask(s)
		}
		z := r.p.Truth().Nozzle(118, 118)
		r.ask(fmt.Sprintf("G1 Z%.4f", z+1))    // an arrival
		r.ask(fmt.Sprintf("G1 Z%.4f", z-0.03)) // a person's lowering
		r.ask("G1 Z5")
		r.ask("M400")
		want("a lowering onto the bed", "unhomed travel")
		if d := r.p.Safety().Deepest(bench.ActLowering); math.Abs(d-0.03) > 1e-3 {
			t.Errorf("the lowering was %.4f mm deep", d)
		}
		r.ask(fmt.Sprintf("G1 Z%.4f", z-0.2)) // an arrival in the bed
		r.ask("G1 Z5")
		r.ask("M400")
		want("an arrival in the bed", "unhomed travel", "contact arrival")
		r.ask("G1 X100") // with the limits off
		r.ask("M211 S1")
		r.ask("G1 Z4")
		r.ask("G1 X110") // below what was promised
		r.ask("M400")
		want("two travels", "unhomed travel", "contact arrival", "unlimited travel", "low-travel travel")
		if n := len(r.p.Lowerings()); n != 4 {
			t.Errorf("%d lowerings: %+v", n, r.p.Lowerings())
		}
	})
}

// TestWitnessIdle: the motors that let go by themselves make the machine unhomed,
// while it tells its place as before.
func TestWitnessIdle(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 1, Seed: 3}, func(r *rig) {
		for _, s := range []string{"G28", "G1 X100 Y100 F6000", "M400"} {
			r.ask(s)
		}
		before, _ := numbers(r.ask("M114"))
		time.Sleep(121 * time.Second)
		if after, _ := numbers(r.ask("M114")); after != before {
			t.Errorf("it tells %v, before %v", after, before)
		}
		r.ask("G1 X110")
		r.ask("M400")
		v := r.p.Violations()
		if len(v) != 1 || v[0].Kind != bench.KindUnhomed || v[0].Why != "the idle switch-off" || v[0].Since < 0.5 || v[0].Since > 3 {
			t.Errorf("%v", v)
		}
	})
}

// TestHomingSwitches: homing may switch the levelling and the limits.
func TestHomingSwitches(t *testing.T) {
	sc := scenario(t, "beam-twist")
	sc.LevelledStart, sc.HomeLevelsOn, sc.HomeLimitsOn = false, true, true
	onWire(t, sc, bench.Options{Wording: 1}, func(r *rig) {
		r.ask("M211 S0")
		at := r.p.Now()
		r.ask("G28")
		if s := r.p.Safety(); !s.Levelling || !s.Limits {
			t.Errorf("levelling on %v, limits on %v", s.Levelling, s.Limits)
		}
		if r.p.LevellingAt(at) || !r.p.LevellingAt(r.p.Now()) {
			t.Error("when it was switched is not kept")
		}
	})
}

// TestLies: each kind tells what it says, and the truth before it begins.
func TestLies(t *testing.T) {
	for kind, c := range map[string]struct {
		lie  bench.Lie
		want []float64 // by how much each touch is off
	}{
		"constant":    {bench.Lie{From: 2, Size: -3}, []float64{0, -3, -3}},
		"until":       {bench.Lie{Kind: bench.LieConstant, From: 2, Until: 2, Size: -3}, []float64{0, -3, 0}},
		"elsewhere":   {bench.Lie{Kind: bench.LieConstant, Size: 1, Where: &bench.Disc{U: 10, V: 10, R: 20}}, []float64{0, 0}},
		"here":        {bench.Lie{Kind: bench.LieConstant, Size: 0.2, Where: &bench.Disc{U: 110, V: 120, R: 20}}, []float64{0.2, 0.2}},
		"pairs":       {bench.Lie{Size: 3.5}, []float64{0, 0, -3.5, -3.5, -7}},
		"ramp":        {bench.Lie{Size: -0.1}, []float64{-0.1, -0.2, -0.3}},
		"share":       {bench.Lie{Size: 1.4, Share: 1}, []float64{1.4, 1.4}},
		"alternating": {bench.Lie{Size: 1}, []float64{0, 1, 0, 1}},
		"wild":        {bench.Lie{Size: 2, Every: 3}, []float64{0, 0, 2, 0, 0, 2}},
		"early":       {bench.Lie{Size: 0.4}, []float64{0.4, 0.4}},
		"scale":       {bench.Lie{Size: 0}, []float64{0, 0}},
	} {
		t.Run(kind, func(t *testing.T) {
			onWire(t, scenario(t, "healthy"), bench.Options{Wording: 1, Seed: 3}, func(r *rig) {
				r.ask("G28")
				r.ask("M420 S0")
				honest := r.touch(117.5, 117.5)
				if c.lie.Kind == "" {
					c.lie.Kind = kind
				}
				r.p.Tell(&c.lie)
				for i, want := range c.want {
					if got := r.touch(117.5, 117.5) - honest; math.Abs(got-want) > 0.05 {
						t.Errorf("touch %d is off by %.3f, want %.3f", i+1, got, want)
					}
				}
				r.p.Tell(nil)
				if got := r.touch(117.5, 117.5) - honest; math.Abs(got) > 0.05 {
					t.Errorf("after the end of the lie: off by %.3f", got)
				}
			})
		})
	}
}

// TestLieStraight: a straight probe stops where it believes to touch; one that is
// deaf goes down to where it was sent.
func TestLieStraight(t *testing.T) {
	onWire(t, scenario(t, "straight-probe"), bench.Options{Wording: 1, Seed: 3}, func(r *rig) {
		for _, s := range []string{"G28", "M420 S0", "G1 X100 Y60 Z6 F6000", "M400"} {
			r.ask(s)
		}
		down := func() float64 {
			r.ask("G38.2 Z-1 F300")
			at, _ := numbers(r.ask("M114"))
			r.ask("G1 Z6")
			r.ask("M400")
			return at[2]
		}
		honest := down()
		r.p.Tell(&bench.Lie{Kind: bench.LieConstant, Size: -0.5})
		if got := down() - honest; math.Abs(got+0.5) > 0.05 {
			t.Errorf("off by %.3f", got)
		}
		r.p.Tell(&bench.Lie{Kind: bench.LieDeaf})
		if got := down(); math.Abs(got+1) > 0.01 {
			t.Errorf("deaf, it went to %.3f", got)
		}
	})
}

// TestMute: the printer is silent from the command that was named, for as long as
// was said; one that is deafened still talks.
func TestMute(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 1}, func(r *rig) {
		r.p.Mute("M114", 30)
		r.ask("M105")
		r.send("M114")
		r.silent(29 * time.Second)
		if r.p.Muted() != true || r.p.Strikes() != 1 {
			t.Errorf("muted %v, %d strikes", r.p.Muted(), r.p.Strikes())
		}
		time.Sleep(2 * time.Second)
		r.ask("M114")
	})
}
