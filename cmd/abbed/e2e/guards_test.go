package e2e_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// machines is how many machines TestGuards draws, each with its script.
var machines = flag.Int("guards", 20, "how many machines TestGuards draws")

// press is one thing that somebody, or something, does.
type press struct {
	Do string
	At string // of a fault: when it strikes
}

// machine is what is drawn of the printer.
type machine struct {
	Seed                     uint64
	LeverX, LeverY           float64
	Trigger, Level           float64
	Clearance                float64
	Roll                     float64 // rad from the left to the right end
	LowTravel, HomeLevelsOff bool
	Steps                    []string
	Blade                    float64
	Bed                      float64 // heat that is asked for, degrees C; 0: none
}

func drawMachine(t *rapid.T) machine {
	return machine{
		Seed:      rapid.Uint64Range(1, 1000).Draw(t, "seed"),
		LeverX:    rapid.Float64Range(-45, 45).Draw(t, "lever x"),
		LeverY:    rapid.Float64Range(-45, 45).Draw(t, "lever y"),
		Trigger:   rapid.Float64Range(0.4, 4).Draw(t, "trigger"),
		Level:     rapid.Float64Range(-0.3, 0.3).Draw(t, "level"),
		Clearance: rapid.Float64Range(5, 15).Draw(t, "clearance"),
		Roll:      rapid.Float64Range(-0.02, 0.02).Draw(t, "roll"),
		LowTravel: rapid.Bool().Draw(t, "low travel"), HomeLevelsOff: rapid.Bool().Draw(t, "homing switches off"),
		Steps: rapid.SampledFrom([][]string{{"gauging"}, {"repeat", "gauging"}, {"gauging", "survey"}, {"repeat"}}).Draw(t, "steps"),
		Blade: rapid.SampledFrom([]float64{0.02, 0.1, 0.3}).Draw(t, "blade"),
		Bed:   rapid.SampledFrom([]float64{0, 0, 60}).Draw(t, "bed"),
	}
}

// scenario is the machine as a virtual printer; its probe stands within its
// travel.
func (m machine) scenario(sc bench.Scenario) bench.Scenario {
	sc.Lever, sc.Trigger, sc.Level = [2]float64{m.LeverX, m.LeverY}, m.Trigger, m.Level
	sc.LowTravel, sc.HomeLevelsOff = m.LowTravel, m.HomeLevelsOff
	width := sc.Bed.X1 - sc.Bed.X0
	sc.Roll = func(x float64) float64 { return m.Roll * x / width }
	return sc
}

// acts are drawn with these weights: the person presses what gets further more
// often than what ends it.
var acts = []string{
	"loose", "loose", "loose", "loose", "loose", "loose", "down", "down", "down", "drags", "drags", "drags",
	"next", "next", "next", "next", "tight", "skip", "forget", "home alone", "again", "stop", "restart", "pull", "fault",
}

func drawPress(t *rapid.T) press {
	p := press{Do: rapid.SampledFrom(acts).Draw(t, "do")}
	switch p.Do {
	case "fault":
		// Faults that damage a byte of a line without a check are no matter of
		// these guards; the table of faults has them. Nor is a probe that
		// does not trigger: the printer's own word then drives on, and no command of
		// ours bounds it. Nor is a printer that refuses to
		// home in a sentence of its own with an ok: that shows at the first touch or
		// lowering only, before which up to a few moves are ordered, which it refuses.
		p.At = rapid.SampledFrom([]string{"out-of-reach@G30", "restart@3", "halt@5", "unplug@4", "silence@6", "refused@G1:2", "busy@2", "lost-ok@4", "late-ok@3", "restart@G30:5", "halt@G1:4"}).Draw(t, "fault")
	}
	return p
}

// TestGuards has anybody press anything at any time, on any machine, with any
// fault. The virtual printer knows the truth: the nozzle never travels low,
// nothing moves unhomed or out of the travel, no contact but by a lowering that
// the person asked for, never below the floor that was shown, no heater on, one
// job at a time.
func TestGuards(t *testing.T) {
	base, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	base.Chatter = 0
	n := *machines
	if testing.Short() {
		n = min(n, 3)
	}
	if err := flag.Set("rapid.checks", fmt.Sprint(n)); err != nil {
		t.Fatal(err)
	}
	// The ordinary run draws the same machines for everybody; -guards with another
	// number draws new ones each time.
	if n <= 20 && flag.Lookup("rapid.seed").Value.String() == "0" {
		if err := flag.Set("rapid.seed", "20"); err != nil {
			t.Fatal(err)
		}
	}
	var tally guardTally
	rapid.Check(t, func(rt *rapid.T) {
		m := drawMachine(rt)
		script := rapid.SliceOfN(rapid.Custom(drawPress), 30, 80).Draw(rt, "script")
		dir := memoryDir(t)
		var broken []string
		synctest.Test(t, func(t *testing.T) {
			g := &guarded{m: m, tally: &tally}
			g.play(t, dir, base, script)
			broken = g.broken
		})
		for _, b := range broken {
			rt.Errorf("%s", b)
		}
	})
	t.Logf("%+v", tally)
	if n >= 20 && (tally.Lowered == 0 || tally.Recorded == 0 || tally.Refused == 0 || tally.Contacts == 0) {
		t.Errorf("too little happened: %+v", tally)
	}
}

// guardTally counts what the scripts came to, so that a test in which nothing
// happens is noticed.
type guardTally struct{ Runs, Pressed, Refused, Lowered, Recorded, Contacts, Touches int }

// guarded plays one script.
type guarded struct {
	m       machine
	tally   *guardTally
	printer *bench.Printer
	wire    *cable
	w       *world
	run     string
	broken  []string
}

func (g *guarded) breaks(text string, args ...any) {
	g.broken = append(g.broken, fmt.Sprintf(text, args...))
}

func (g *guarded) play(t *testing.T, dir string, base bench.Scenario, script []press) {
	sc := g.m.scenario(base)
	g.printer = bench.New(sc, bench.Options{Seed: g.m.Seed})
	g.wire = &cable{printer: g.printer}
	g.w = open(t, dir, sc, g.wire, func(s *config.Settings) { s.Clearance = g.m.Clearance })
	defer g.w.close()
	ready(t, g.w)
	g.begin(t.Context())
	for _, p := range script {
		g.press(t.Context(), p)
		g.look(p)
		if len(g.broken) > 0 {
			return
		}
	}
	_, _ = g.w.api.Stop(t.Context())
	g.calm()
	g.look(press{Do: "stop at the end"})
	s := g.printer.Safety()
	g.tally.Contacts += len(s.Contacts)
	g.tally.Touches += s.Touches
}

// begin starts a run and confirms it; it may be refused, which is fine.
func (g *guarded) begin(ctx context.Context) {
	ask := api.NewRun{Steps: g.m.Steps}
	if g.m.Bed > 0 {
		ask.Heat = &api.Heat{Bed: &g.m.Bed}
	}
	r, err := g.w.api.Start(ctx, ask)
	if err != nil {
		return
	}
	g.run = r.ID
	how := api.Confirm{Person: "anybody", Gauge: &g.m.Blade}
	for _, c := range r.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if g.w.api.Confirm(ctx, r.ID, how) == nil {
		g.tally.Runs++
	}
	g.calm()
}

// calm lets the bubble's time pass until the run waits for somebody, or five
// minutes have gone.
func (g *guarded) calm() {
	for range 600 {
		r, err := g.w.house.Daemon.Run(g.run)
		if err != nil || r.State != api.Running {
			return
		}
		time.Sleep(500 * time.Millisecond)
	}
}

func (g *guarded) press(ctx context.Context, p press) {
	g.tally.Pressed++
	if r, err := g.w.house.Daemon.Run(g.run); p.Do != "again" && (err != nil || r.State.Over()) {
		if g.w.house.Daemon.Printer().Link == api.Lost {
			g.printer.Restart() // somebody looked at the machine
			time.Sleep(20 * time.Second)
		}
		g.again(ctx)
	}
	switch p.Do {
	case "stop":
		_, _ = g.w.api.Stop(ctx)
	case "restart":
		g.printer.Restart()
	case "pull":
		g.wire.pull(true)
		time.Sleep(2 * time.Second)
		g.wire.pull(false)
	case "fault":
		f, err := bench.ParseFault(p.At)
		if err != nil {
			panic(err)
		}
		g.printer.Inject(f)
	case "home alone":
		time.Sleep(6 * time.Minute) // nobody acts
		r, err := g.w.house.Daemon.Run(g.run)
		s := g.printer.Safety()
		if waits := err == nil && (r.State == api.AwaitingGauge || r.State == api.AwaitingNext); waits && s.Homed && s.Targets != [2]float64{} {
			g.breaks("nobody acted for six minutes in %s, and the heaters are at %v", r.State, s.Targets)
		}
	case "again":
		g.again(ctx)
	case "down": // as a person does: until it is refused, or the floor is near
		for k := 0; k < 15 && g.gauge(ctx, p); k++ {
			g.look(p)
		}
	default:
		g.gauge(ctx, p)
	}
	g.calm()
}

// again asks for a second job: it is refused while one is active.
func (g *guarded) again(ctx context.Context) {
	now, err := g.w.house.Daemon.Run(g.run)
	active := err == nil && !now.State.Over()
	var e *api.Error
	if active {
		if _, err := g.w.api.StartRun(ctx, "repeat"); !errors.As(err, &e) {
			g.breaks("a second run while one is %s: %v", now.State, err)
		}
		if err := g.w.api.Undo(ctx); !errors.As(err, &e) {
			g.breaks("an undo while a run is %s: %v", now.State, err)
		}
		return
	}
	pr := g.w.house.Daemon.Printer()
	if len(pr.Owed) > 0 {
		if _, err := g.w.api.StartRun(ctx, "repeat"); err == nil {
			g.breaks("a run while %v is owed", pr.Owed)
		}
		_ = g.w.api.Resolve(ctx, "finish")
		time.Sleep(2 * time.Minute)
	}
	g.begin(ctx)
}

// gauge presses at the blade, and reports whether the press was taken.
func (g *guarded) gauge(ctx context.Context, p press) bool {
	before, err := g.w.house.Daemon.Run(g.run)
	if err != nil {
		return false
	}
	a := api.GaugeAction{Action: p.Do}
	if p.Do == "down" {
		a.Action = "loose"
	}
	after, err := g.w.api.Gauge(ctx, g.run, a)
	if err != nil {
		g.tally.Refused++
		return false
	}
	switch a.Action {
	case "loose":
		g.tally.Lowered++
		if at := before.Place; at != nil && after.State == api.AwaitingGauge && after.Place != nil && math.Abs(at.Z-at.NextStep-after.Place.Z) > 1e-6 {
			g.breaks("loose took the nozzle from %.4f to %.4f mm, and %.4f mm was said", at.Z, after.Place.Z, at.NextStep)
		}
	case "drags":
		g.tally.Recorded++
	}
	return true
}

// look compares what the printer knows with what must never be.
func (g *guarded) look(p press) {
	s := g.printer.Safety()
	r, err := g.w.house.Daemon.Run(g.run)
	if err == nil && r.State == api.AwaitingGauge && r.Place != nil && s.Homed {
		if z := s.Place[2]; z < r.Place.Floor-0.002 {
			g.breaks("after %+v the nozzle is at z=%.4f, the floor is %.4f", p, z, r.Place.Floor)
		}
	}
	if s.LowTravel > 0 {
		g.breaks("after %+v: %d travels with as little as %.3f mm under the nozzle", p, s.LowTravel, s.LowWorst)
	}
	if s.Unhomed > 0 || s.OutOfBounds > 0 {
		g.breaks("after %+v: %d moves unhomed, %d out of the travel", p, s.Unhomed, s.OutOfBounds)
	}
	if s.Targets != [2]float64{} && (g.m.Bed == 0 || s.Targets != [2]float64{0, g.m.Bed}) {
		g.breaks("after %+v: heaters at %v, asked for is %v", p, s.Targets, g.m.Bed)
	}
	if s.Targets != [2]float64{} && err == nil && r.State.Over() && !slices.Contains(g.w.house.Daemon.Printer().Owed, "heaters") {
		g.breaks("after %+v: the run is %s, the heaters are at %v, and that is not owed", p, r.State, s.Targets)
	}
	for _, c := range s.Contacts {
		if !c.Vertical || c.Touch {
			g.breaks("after %+v: a contact that no lowering made: %+v", p, c)
		}
	}
}

// TestGuardsFound replays what TestGuards found once: a raise whose line the
// printer counted, without an answer and without doing it.
func TestGuardsFound(t *testing.T) {
	base, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	base.Chatter = 0
	m := machine{Seed: 1, LeverX: 1, LeverY: 1, Trigger: 1, Level: 0.3, Clearance: 5, Roll: 0.02, Steps: []string{"gauging"}, Blade: 0.02}
	script := []press{
		{Do: "fault", At: "silence@6"}, {Do: "loose"}, {Do: "drags"},
		{Do: "loose"}, {Do: "drags"}, {Do: "next"}, {Do: "loose"}, {Do: "drags"}, {Do: "next"},
	}
	synctest.Test(t, func(t *testing.T) {
		var tally guardTally
		g := &guarded{m: m, tally: &tally}
		g.play(t, memoryDir(t), base, script)
		for _, b := range g.broken {
			t.Error(b)
		}
		if tally.Recorded < 2 {
			t.Errorf("%+v: want a reading before the silence, and one after it", tally)
		}
	})
}
