package bench_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"abbed/gcode/bench"
)

// word counts lines that begin with a prefix.
func with(lines []string, part string) bool { return strings.Contains(strings.Join(lines, "\n"), part) }

// A bad sequence is logged, each sin in its own place.
func TestSafetyLog(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 1, Seed: 3}, func(r *rig) {
		r.ask("G1 X5 F3000") // not homed
		r.ask("M400")
		if s := r.p.Safety(); s.Unhomed != 1 || s.Homed {
			t.Errorf("after a move without homing: %d, homed %v", s.Unhomed, s.Homed)
		}
		r.ask("G28")
		r.ask("M420 S0")
		r.ask("G1 X118 Y118 F6000")
		r.ask("G1 Z1.2")
		r.ask("M400")
		if s := r.p.Safety(); s.LowTravel != 0 || len(s.Contacts) != 0 {
			t.Fatalf("before the low travel: %+v", s)
		}
		r.ask("G1 X150") // low
		r.ask("G1 Z5")
		r.ask("G1 X400 Z5") // out of bounds, clamped
		r.ask("M400")
		s := r.p.Safety()
		if s.LowTravel != 1 || s.LowWorst < 1 || s.LowWorst > 1.3 {
			t.Errorf("low travels %d, worst %g", s.LowTravel, s.LowWorst)
		}
		if s.OutOfBounds != 1 || s.Place[0] != 245 {
			t.Errorf("out of bounds %d, X %g", s.OutOfBounds, s.Place[0])
		}
		r.ask("G1 X100 Y100 Z1")
		r.ask("M211 S0")
		z := r.p.Truth().Nozzle(100, 100)
		r.ask(fmt.Sprintf("G1 Z%.4f", z+0.03))
		r.ask("G1 Z" + fmt.Sprintf("%.4f", z-0.02)) // a person's own step
		r.ask("M400")
		s = r.p.Safety()
		if len(s.Contacts) != 1 || !s.Contacts[0].Vertical || math.Abs(s.Contacts[0].Depth-0.02) > 1e-3 || math.Abs(s.Contacts[0].Step-0.05) > 1e-3 {
			t.Fatalf("contact %+v", s.Contacts)
		}
		if s.NozzleTouches(0.05+1e-6) != 0 || s.NozzleTouches(0.01) != 1 {
			t.Errorf("a step of 0.05: %d and %d", s.NozzleTouches(0.05), s.NozzleTouches(0.01))
		}
		r.ask("G1 X110") // drags
		r.ask("M400")
		if s = r.p.Safety(); s.Contacts[0].Vertical || s.NozzleTouches(1) != 1 {
			t.Errorf("a drag counts as a lowering: %+v", s.Contacts)
		}
	})
}

// A long move is watched all along: a bed that rises under its middle is seen.
func TestWatchedAlongMoves(t *testing.T) {
	sc := scenario(t, "beam-twist")
	sc.Roll = nil
	sc.Shape = func(u, _ float64) float64 { return 1.5 * math.Exp(-(u-60)*(u-60)/20) }
	onWire(t, sc, bench.Options{Wording: 1}, func(r *rig) {
		for _, s := range []string{"G28", "M420 S0", "G1 X20 Y30 F9000", "G1 Z2.4", "G1 X110", "M400"} {
			r.ask(s)
		}
		s := r.p.Safety()
		if math.Abs(s.Lowest-0.9) > 0.03 || math.Abs(s.LowestAt[0]-60) > 1 {
			t.Errorf("lowest %.3f at %.1f, want 0.9 at 60", s.Lowest, s.LowestAt[0])
		}
	})
}

func TestBlade(t *testing.T) {
	onWire(t, scenario(t, "twist-level"), bench.Options{Wording: 2}, func(r *rig) {
		for _, s := range []string{"G28", "M420 S0", "G1 X60 Y90 Z2 F6000", "M400"} {
			r.ask(s)
		}
		truth := r.p.Truth()
		want := 2 - truth.Nozzle(60, 90) - 0.1
		if got := r.p.Blade(0.1); math.Abs(got-want) > 1e-6 {
			t.Errorf("blade %.4f, want %.4f", got, want)
		}
		// The gap error shows as design/2 says: m - n = gap + level, m by a touch.
		m := r.touch(60, 90)
		if d := m - truth.Nozzle(60, 90) - truth.Gap(60, 90) - truth.Level; math.Abs(d) > 0.03 {
			t.Errorf("m - n - g - level = %.4f", d)
		}
		if truth.Level != 0.08 {
			t.Errorf("level %g", truth.Level)
		}
	})
}

// With levelling on the nozzle follows the stored map; with it off Z is raw.
func TestLevellingFollowsTheMap(t *testing.T) {
	onWire(t, scenario(t, "true-shape"), bench.Options{Wording: 3}, func(r *rig) {
		for _, s := range []string{"G28", "M420 S1", "G1 X20 Y200 Z4 F9000", "M400"} {
			r.ask(s)
		}
		on := r.p.Blade(0)
		r.ask("G1 X200 Y60")
		r.ask("M400")
		if d := r.p.Blade(0) - on; math.Abs(d) > 0.03 {
			t.Errorf("with levelling on the gap changes by %.3f", d)
		}
		place, _ := numbers(r.ask("M114"))
		if place[2] != 4 {
			t.Errorf("Z told %g, want 4", place[2])
		}
		r.ask("M420 S0")
		raw, _ := numbers(r.ask("M114"))
		if raw[2] == 4 {
			t.Error("switched off, Z is told as if the map were followed")
		}
		if d := raw[2] - r.p.Truth().Nozzle(200, 60) - r.p.Blade(0); math.Abs(d) > 2e-3 {
			t.Errorf("raw Z %.3f does not agree with the gap", raw[2])
		}
	})
}

func TestStopActsAtOnce(t *testing.T) {
	onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: 4}, func(r *rig) {
		r.send("G28")
		time.Sleep(3 * time.Second)
		before := r.p.Safety().Place
		r.send("M112")
		time.Sleep(time.Millisecond)
		s := r.p.Safety()
		if s.Halts != 1 || s.Homed || math.Abs(s.HaltAt[0]-before[0]) > 0.2 {
			t.Fatalf("halts %d at %v, was at %v", s.Halts, s.HaltAt, before)
		}
		for len(r.lines) > 0 {
			<-r.lines
		}
		r.send("M114")
		r.silent(2 * time.Minute)
		r.p.Restart()
		if s := <-r.lines; s != "start" {
			t.Errorf("after a restart: %q", s)
		}
		r.ask("M114")
		if s := r.p.Safety(); s.Homed {
			t.Error("homed after a restart")
		}
	})
}

// Motors go off after the idle time, and with them the homing.
func TestIdleSwitchOff(t *testing.T) {
	onWire(t, scenario(t, "own-clearance"), bench.Options{Wording: 1}, func(r *rig) {
		r.ask("G28")
		time.Sleep(50 * time.Second)
		if !r.p.Safety().Homed {
			t.Error("off too early")
		}
		r.ask("G1 Z10")
		time.Sleep(59 * time.Second)
		if !r.p.Safety().Homed {
			t.Error("a move does not begin the idle time anew")
		}
		time.Sleep(5 * time.Second)
		if r.p.Safety().Homed {
			t.Error("still on")
		}
		r.ask("G28")
		r.ask("M84 S0")
		time.Sleep(time.Hour)
		if !r.p.Safety().Homed {
			t.Error("off although never was asked for")
		}
		r.ask("M500")
		if s := r.p.Safety(); s.KeptIdle != 0 || s.Keeps != 1 {
			t.Errorf("kept idle %g, keeps %d", s.KeptIdle, s.Keeps)
		}
		r.ask("M84")
		if r.p.Safety().Homed {
			t.Error("M84 alone does not switch off")
		}
	})
}

func TestMapWrittenKeptAndLost(t *testing.T) {
	onWire(t, scenario(t, "twist-300"), bench.Options{Wording: 1}, func(r *rig) {
		old := r.p.Nodes()
		r.ask("M421 I3 J5 Z-0.123")
		r.ask("M421 I0 J0 Q0.010")
		now := r.p.Nodes()
		if now[5][3] != -0.123 || math.Abs(now[0][0]-old[0][0]-0.010) > 1e-9 {
			t.Errorf("nodes %v", now)
		}
		if !with(r.ask("M420 V"), "-0.123") {
			t.Error("the map printed does not hold the new value")
		}
		if !with(r.ask("M421 I4 J0 Z0"), "Error:") || !with(r.ask("M421 I0 J0"), "Error:") {
			t.Error("a bad node was not refused")
		}
		r.p.Restart()
		if r.p.Nodes()[5][3] != old[5][3] {
			t.Error("what was not kept survived a restart")
		}
		<-r.lines
		r.ask("M421 I3 J5 Z-0.123")
		r.ask("M500")
		if r.p.Kept()[5][3] != -0.123 {
			t.Error("not kept")
		}
	})
}

// The planner takes sixteen moves ahead; the next ok waits; M400 waits for all.
func TestPlannerQueue(t *testing.T) {
	onWire(t, scenario(t, "plain-line"), bench.Options{Wording: 1}, func(r *rig) {
		r.ask("G28")
		r.ask("G1 X100 Y100 F600")
		r.ask("M400")
		began := time.Now()
		for k := range 16 {
			r.ask(fmt.Sprintf("G1 X%d", 110+10*(k%2)))
		}
		if took := time.Since(began); took > 10*time.Millisecond {
			t.Errorf("sixteen moves took %v to queue", took)
		}
		r.ask("G1 X130")
		if took := time.Since(began); took < 900*time.Millisecond || took > 1100*time.Millisecond {
			t.Errorf("the seventeenth was taken after %v, want about 1 s", took)
		}
		r.ask("M400")
		if took := time.Since(began); took < 16*time.Second || took > 20*time.Second {
			t.Errorf("all had ended after %v", took)
		}
	})
}

func TestHeatingTakesTime(t *testing.T) {
	onWire(t, scenario(t, "plain-line"), bench.Options{Wording: 1}, func(r *rig) {
		began := time.Now()
		lines := r.ask("M190 S60")
		if took := time.Since(began); took < time.Minute || !with(lines, "busy") {
			t.Errorf("the bed took %v; %q", took, lines)
		}
		if s := r.p.Safety(); s.Targets[1] != 60 || math.Abs(s.Heats[1]-60) > 1.1 {
			t.Errorf("targets %v heats %v", s.Targets, s.Heats)
		}
		if !with(r.ask("M105"), "/60") {
			t.Error("M105 does not tell the target")
		}
	})
}

// Virtual time runs Speed times as fast.
func TestSpeed(t *testing.T) {
	took := func(speed float64) (d time.Duration) {
		onWire(t, scenario(t, "plain-line"), bench.Options{Wording: 1, Speed: speed}, func(r *rig) {
			began := time.Now()
			r.ask("G28")
			d = time.Since(began)
		})
		return d
	}
	slow, fast := took(1), took(60)
	if ratio := float64(slow) / float64(fast); math.Abs(ratio-60) > 0.1 {
		t.Errorf("homing took %v and %v: %.2f times", slow, fast, ratio)
	}
}

func TestLookupListsNames(t *testing.T) {
	_, err := bench.Lookup("nothing")
	if err == nil || !strings.Contains(err.Error(), "beam-twist") {
		t.Errorf("error %v", err)
	}
}
