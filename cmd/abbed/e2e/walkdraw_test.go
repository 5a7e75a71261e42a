package e2e_test

import (
	"fmt"
	"math"

	"pgregory.net/rapid"

	"abbed/config"
	"abbed/gcode/bench"
	"abbed/gcode/bench/mechanics"
)

// wild is what is drawn of a printer and of how it is measured: nothing that a
// printer may not be.
type wild struct {
	Seed           uint64
	LeverX, LeverY float64
	Trigger, Level float64
	Clearance      float64
	Roll           float64 // rad from the left to the right end
	TiltX, TiltY   float64 // of the bed, mm per mm
	Dish           float64 // mm
	Gantry         bool

	Levels        string // what homing does to the levelling: "", on, off
	LevelledStart bool
	HomeLimitsOn  bool
	LowTravel     bool
	Straight      bool // probes straight down (G38.2)
	Plain         bool // no numbered lines
	Actual        bool // tells where the head is, and not where it will be
	Coarse        bool // heights to 0.01 mm
	IdleOff       float64
	DeafIdle      bool // the idle switch-off cannot be set
	Echoes        float64

	Steps []string
	Lean  bool
	Blade float64
	Bed   float64 // heat that is asked for, degrees C; 0: none
}

func drawWild(t *rapid.T) wild {
	w := wild{
		Seed:      rapid.Uint64Range(1, 1000).Draw(t, "seed"),
		LeverX:    rapid.Float64Range(-45, 45).Draw(t, "lever x"),
		LeverY:    rapid.OneOf(rapid.Float64Range(-45, -8), rapid.Float64Range(8, 45)).Draw(t, "lever y"),
		Trigger:   rapid.Float64Range(0.6, 4).Draw(t, "trigger"),
		Level:     rapid.Float64Range(-0.2, 0.2).Draw(t, "level"),
		Clearance: rapid.Float64Range(5, 12).Draw(t, "clearance"),
		Roll:      rapid.Float64Range(-0.015, 0.015).Draw(t, "roll"),
		TiltX:     rapid.Float64Range(-1e-3, 1e-3).Draw(t, "tilt x"),
		TiltY:     rapid.Float64Range(-1e-3, 1e-3).Draw(t, "tilt y"),
		Dish:      rapid.Float64Range(-0.2, 0.2).Draw(t, "dish"),
		Gantry:    rapid.Bool().Draw(t, "gantry"),

		Levels:        rapid.SampledFrom([]string{"", "on", "off"}).Draw(t, "homing levels"),
		LevelledStart: rapid.Bool().Draw(t, "levelled"),
		HomeLimitsOn:  rapid.Bool().Draw(t, "homing limits"),
		LowTravel:     rapid.Bool().Draw(t, "low travel"),
		Straight:      rapid.SampledFrom([]bool{false, false, true}).Draw(t, "straight"),
		Plain:         rapid.SampledFrom([]bool{false, false, true}).Draw(t, "plain"),
		Actual:        rapid.Bool().Draw(t, "actual place"),
		Coarse:        rapid.SampledFrom([]bool{false, false, true}).Draw(t, "coarse"),
		IdleOff:       rapid.SampledFrom([]float64{60, 120, 310, 600, 1800}).Draw(t, "idle"),
		DeafIdle:      rapid.SampledFrom([]bool{false, false, false, true}).Draw(t, "deaf to idle"),
		Echoes:        rapid.SampledFrom([]float64{0, 0, 4}).Draw(t, "echoes"),

		Steps: rapid.SampledFrom([][]string{
			{"gauging"}, {"gauging"}, {"repeat", "gauging", "survey"}, {"repeat", "gauging", "survey"}, {"prove"}, {"prove"},
			{"gauging", "survey", "plate-turn", "angles"}, {"reference"}, {"gauging", "coupons", "reference"},
		}).Draw(t, "steps"),
		Lean:  rapid.Bool().Draw(t, "lean"),
		Blade: rapid.SampledFrom([]float64{0.02, 0.1, 0.3}).Draw(t, "blade"),
		Bed:   rapid.SampledFrom([]float64{0, 0, 60}).Draw(t, "bed"),
	}
	if w.DeafIdle { // the person's patience of five minutes is what such a printer leaves
		w.IdleOff = max(w.IdleOff, 310)
	}
	return w
}

// scenario is what was drawn as a virtual printer.
func (w wild) scenario(sc bench.Scenario) bench.Scenario {
	if w.proves() { // a machine that gets a correction, with whatever wire
		w.LeverX, w.LeverY, w.Trigger, w.Level, w.Roll = sc.Lever[0], sc.Lever[1], sc.Trigger, sc.Level, math.NaN()
	} else {
		sc.Lever, sc.Trigger, sc.Level = [2]float64{w.LeverX, w.LeverY}, w.Trigger, w.Level
		width := sc.Bed.X1 - sc.Bed.X0
		sc.Roll = func(x float64) float64 { return w.Roll * x / width }
		sc.Tilt = [2]float64{w.TiltX, w.TiltY}
		sc.Shape = mechanics.Dish(sc.Bed, w.Dish)
		if w.Gantry {
			sc.Layout = mechanics.MovingGantry
		}
	}
	sc.HomeLevelsOff, sc.HomeLevelsOn = w.Levels == "off", w.Levels == "on"
	sc.LevelledStart, sc.HomeLimitsOn, sc.LowTravel = w.LevelledStart, w.HomeLimitsOn, w.LowTravel
	sc.Straight38, sc.NoFraming, sc.ActualPlace = w.Straight, w.Plain, w.Actual
	sc.Chatter, sc.Echoes, sc.IdleOff = 0, w.Echoes, w.IdleOff
	if w.Coarse {
		sc.Decimals = 2
	}
	if w.DeafIdle {
		sc.Unknown = []string{"M84"}
	}
	return sc
}

func (w wild) proves() bool { return w.Steps[0] == "prove" }

// set is what the owner of this printer sets.
func (w wild) set(s *config.Settings) {
	smaller(s)
	s.Clearance = max(w.Clearance, w.Trigger+1)
	s.Gauging.Plan = config.PlanThorough
	if w.Lean {
		s.Gauging.Plan = config.PlanNormal
	}
}

// deed is one thing that somebody, or something, does in a walk.
type deed struct {
	Do   string
	N    int    // how often, how many seconds or minutes
	Busy bool   // done without waiting for what the machine still does
	At   string // of a fault: when it strikes
	Lie  *bench.Lie
	Two  [2]string // of two at once
}

// deeds are drawn with these weights: the person does mostly what gets further.
var deeds = []string{
	"work", "work", "work", "work", "work", "work", "work", "work", "work", "work", "work", "work",
	"loose", "loose", "loose", "down", "tight", "drags", "drags", "next", "next", "skip", "forget",
	"answer", "answer", "wrong prompt", "leave", "leave", "leave long", "wait", "wait", "two", "two",
	"stop", "withdraw", "start", "undo", "reapply", "resolve", "lie", "lie", "lie", "truth",
	"restart", "pull", "mute", "deafen", "late", "fault", "look",
}

// GoString is String, for rapid's report.
func (d deed) GoString() string { return "{" + d.String() + "}" }

// String says what is not at its zero.
func (d deed) String() string {
	s := d.Do
	if d.N != 0 {
		s += fmt.Sprintf(" %d", d.N)
	}
	if d.At != "" {
		s += " at " + d.At
	}
	if d.Lie != nil {
		s += fmt.Sprintf(" %+v", *d.Lie)
		if d.Lie.Where != nil {
			s += fmt.Sprintf(" in %+v", *d.Lie.Where)
		}
	}
	if d.Two[0] != "" {
		s += fmt.Sprintf(" %v", d.Two)
	}
	if d.Busy {
		s += ", busy"
	}
	return s
}

var pairs = []string{"loose", "tight", "drags", "next", "skip", "forget", "answer", "stop", "start", "look", "undo", "work"}

func drawDeed(t *rapid.T) deed {
	d := deed{Do: rapid.SampledFrom(deeds).Draw(t, "do"), Busy: rapid.SampledFrom([]bool{false, false, false, true}).Draw(t, "busy")}
	switch d.Do {
	case "work":
		d.N = rapid.IntRange(1, 14).Draw(t, "times")
	case "leave":
		d.N = rapid.IntRange(6, 40).Draw(t, "minutes")
	case "wait", "mute", "deafen":
		d.N = rapid.IntRange(1, 120).Draw(t, "seconds")
		d.At = rapid.SampledFrom([]string{"", "G30", "G1:2", "G28", "M420", "M114:2"}).Draw(t, "when")
	case "late":
		d.N, d.At = 12, rapid.SampledFrom([]string{"", "G30", "G1:2", "G28", "M420", "M114:2"}).Draw(t, "when")
	case "two":
		d.Two = [2]string{rapid.SampledFrom(pairs).Draw(t, "one"), rapid.SampledFrom(pairs).Draw(t, "other")}
	case "fault":
		d.At = rapid.SampledFrom([]string{"out-of-reach@G30", "restart@3", "halt@5", "unplug@4", "silence@6", "silence@G30", "silence@G28", "refused@G1:2", "busy@2", "lost-ok@4", "late-ok@3", "restart@G30:5", "halt@G1:4"}).Draw(t, "fault")
	case "lie":
		l := drawLie(t)
		d.Lie = &l
	}
	return d
}

// drawLie draws one of a dozen ways in which a probe lies, everywhere or at a part
// of the bed.
func drawLie(t *rapid.T) bench.Lie {
	l := bench.Lie{
		Kind:  rapid.SampledFrom(bench.Lies()).Draw(t, "lie"),
		From:  rapid.IntRange(1, 12).Draw(t, "from"),
		Size:  rapid.OneOf(rapid.Float64Range(-3.5, 3.5), rapid.Float64Range(-0.4, 0.4), rapid.SampledFrom([]float64{-3.5, -1.4, -0.3, -0.25, 0.3})).Draw(t, "size"),
		Share: rapid.Float64Range(0.1, 0.9).Draw(t, "share"),
		Every: rapid.IntRange(2, 9).Draw(t, "every"),
	}
	if rapid.SampledFrom([]bool{false, false, true}).Draw(t, "short") {
		l.Until = l.From + rapid.IntRange(0, 6).Draw(t, "until")
	}
	if rapid.SampledFrom([]bool{false, false, true}).Draw(t, "only there") {
		l.Where = &bench.Disc{
			U: rapid.Float64Range(0, 235).Draw(t, "u"), V: rapid.Float64Range(0, 235).Draw(t, "v"),
			R: rapid.Float64Range(10, 60).Draw(t, "r"),
		}
	}
	switch l.Kind {
	case bench.LieDeaf: // the printer's own word then drives on; it is told apart
	case bench.LieNoise:
		l.Size = math.Abs(l.Size) / 4
	case bench.LieConstant:
		// A datum that is off by less than the widest arrival is nothing that shows.
		if l.Home = rapid.SampledFrom([]bool{false, false, false, true}).Draw(t, "homing too"); l.Home {
			l.Size = max(-0.5, min(0.5, l.Size))
		}
	}
	return l
}
