package results

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis"
	"abbed/analysis/workshop"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Repair says what a person can do with tools after a run.
func (s *Shelf) Repair(id string, a api.AskRepair) (api.Repair, error) {
	j, err := s.Judged(id)
	if err != nil {
		return api.Repair{}, err
	}
	return RepairOf(j.Run, j.Verdict, Asked(a, s.now.Owner()))
}

// Asked fills in what the owner's settings say.
func Asked(a api.AskRepair, s config.Settings) api.AskRepair {
	if a.Supports == nil {
		places, _ := s.Desk.Places() // settings that cannot be read are not taken (config.Validate)
		for _, p := range places {
			a.Supports = append(a.Supports, api.XY{X: p.X, Y: p.Y})
		}
	}
	if a.Pitch == 0 {
		a.Pitch = s.Desk.Pitch
	}
	if a.Spacing == 0 {
		a.Spacing = 20
	}
	if a.Width == 0 {
		a.Width = 20
	}
	return a
}

// RepairOf works out the repair desk of a run.
func RepairOf(run record.Run, v analysis.Verdict, a api.AskRepair) (api.Repair, error) {
	for _, l := range []float64{a.Mounting, a.Spacing, a.Width, a.Height, a.Rails} {
		if !(l >= 0 && l <= 5000) {
			return api.Repair{}, api.Errorf(422, "bad-value", "give lengths in mm", "repair: %g mm is no length", l)
		}
	}
	if !(a.Pitch >= 0.1 && a.Pitch <= 5) {
		return api.Repair{}, api.Errorf(422, "bad-value", "Give mm in a turn, 0.1 to 5, such as 0.7.", "repair: %g mm is no pitch of a screw.", a.Pitch)
	}
	out := api.Repair{Cautions: workshop.Cautions(), Advice: []api.HandAdvice{}}
	var found []string
	for _, f := range v.Findings {
		found = append(found, f.ID)
	}
	for _, h := range workshop.AdviceFor(found...) {
		out.Advice = append(out.Advice, api.HandAdvice{Title: h.Title, Steps: h.Steps})
	}
	out.Twist, out.TwistWhy = twistOf(run, v, a)
	out.Tram, out.TramWhy = tramOf(run, v, a)
	return out, nil
}

// doubted is a value of the workshop in the contract's shape: its u is analysis.Judged, and has
// no finite degrees of freedom (see workshop).
func doubted(v workshop.Value, unit string) api.Measured {
	return api.Measured{Value: v.Value, U: v.U, Lo95: v.Value - v.U95(), Hi95: v.Value + v.U95(), Unit: unit}
}

func inDeg(v workshop.Value) workshop.Value {
	return workshop.Value{Value: v.Value * 180 / math.Pi, U: v.U * 180 / math.Pi}
}

// rollOf returns the head's roll over the gauged width at the middle row, or why
// the run cannot tell it.
func rollOf(v analysis.Verdict, lever record.Lever) (workshop.Roll, string) {
	if f, failed := v.Stability.Failed(); failed {
		return workshop.Roll{}, f.Sentence + " " + f.Next
	}
	if v.Gap == nil {
		return workshop.Roll{}, "The gap error cannot be told: " + why(v.GapWhy)
	}
	if !v.Has(analysis.BeamTwist) {
		return workshop.Roll{}, "No twist of the beam was found that could be shimmed away. " + v.Findings[0].Sentence + " " + v.Findings[0].Next
	}
	a := v.Gap.Area
	row := (a.Y0 + a.Y1) / 2
	left, ul, no := v.Gap.At(record.Place{U: a.X0, V: row})
	right, ur, no2 := v.Gap.At(record.Place{U: a.X1, V: row})
	if no != nil || no2 != nil {
		return workshop.Roll{}, "The ends of the gauged area are not told: gauge there."
	}
	// Both are contrasts against the zero place between them, so that their doubts
	// add at most: the plain sum is never too small.
	r, err := workshop.FromGap(a.X0, a.X1, workshop.Value{Value: right - left, U: (ul + ur) / 2}, lever.Y)
	if err != nil {
		return r, err.Error()
	}
	return r, ""
}

func twistOf(run record.Run, v analysis.Verdict, a api.AskRepair) (*api.Twist, string) {
	r, why := rollOf(v, run.Setup.Lever)
	if why != "" {
		return nil, why
	}
	m := a.Mounting
	if m == 0 {
		m = r.To - r.From
	}
	s, rock := r.Shim(m, a.Spacing), r.Rocking(a.Width, m)
	in, outBlade := workshop.Blades(rock)
	t := &api.Twist{From: r.From, To: r.To, Roll: doubted(inDeg(r.Roll), "deg"), High: string(r.High()), Mounting: m,
		Rocking: doubted(rock, "mm"), BladeIn: in, BladeOut: outBlade, AllowedDeg: workshop.Allowed(a.Width, a.Height, m),
		TwistDeg: doubted(inDeg(r.Over(m)), "deg"), Shim: doubted(s.Thick, "mm"), Under: string(s.Under)}
	if a.Rails > 0 {
		x := r.Rails(m, a.Rails)
		d := doubted(x.Raise, "mm")
		t.Rail, t.RailSide = &d, string(x.Which)
	}
	t.Costs = doubted(r.Lever(run.Setup.Lever.Y), "mm")
	// A shim is chosen to 0.01 mm: a rectangle that wide, and as much in its seat.
	thick := math.Round(100*s.Thick.Value) / 100
	t.After = doubted(r.After(run.Setup.Lever.Y, m, a.Spacing, thick, 0.01/math.Sqrt(12)*2), "mm")
	t.Says = twistSays(t, a, thick)
	return t, ""
}

// twistSays says it for people.
func twistSays(t *api.Twist, a api.AskRepair, thick float64) string {
	var b strings.Builder
	pm := func(d api.Measured) string {
		return fmt.Sprintf("%.3f ±%.3f %s", d.Value, d.Hi95-d.Value, d.Unit)
	}
	fmt.Fprintf(&b, "The head rolls by %s from x=%.0f to x=%.0f mm (+: its back rises to the right).\n", strings.TrimSpace(fmt.Sprintf("%+.3f ±%.3f deg", t.Roll.Value, t.Roll.Hi95-t.Roll.Value)), t.From, t.To)
	if t.High == string(workshop.Neither) {
		b.WriteString("That is within its doubt: there is nothing to shim. Gauge more places along X.\n")
		return b.String()
	}
	fmt.Fprintf(&b, "First confirm it on the bench: the bare profile, %.0f mm wide, over %.0f mm on a flat reference should rock by %s", a.Width, t.Mounting, pm(t.Rocking))
	if t.BladeIn > 0 {
		fmt.Fprintf(&b, "; a blade of %.2f mm goes in", t.BladeIn)
	}
	if t.BladeOut > 0 {
		fmt.Fprintf(&b, "; one of %.2f mm does not", t.BladeOut)
	}
	b.WriteString(".\nIf it does not, the brackets or what they stand on are twisted, and not the profile.\n")
	section := "a square section"
	if a.Height > 0 {
		section = fmt.Sprintf("a section of %g x %g mm", a.Width, a.Height)
	}
	fmt.Fprintf(&b, "A maker may deliver %.3f deg over that length (ANSI H35.2, %s); here it is %.3f ±%.3f deg.\n", t.AllowedDeg, section, math.Abs(t.TwistDeg.Value), t.TwistDeg.Hi95-t.TwistDeg.Value)
	fmt.Fprintf(&b, "Shim: %s under the %s fasteners (%.0f mm apart) of the right bracket, or under the %s ones of the left.\n", pm(t.Shim), t.Under, a.Spacing, t.High)
	if t.Rail != nil {
		fmt.Fprintf(&b, "With two rails %.0f mm apart: raise the %s rail at its right end by %s, or lower the other there.\n", a.Rails, t.RailSide, pm(*t.Rail))
	}
	fmt.Fprintf(&b, "Now it costs %.3f ±%.3f mm from end to end; with a shim of %.2f mm %.3f ±%.3f mm should be left. Afterwards tram the bed, set the Z offset, and measure again: that has to lie within the doubt of both.\n", math.Abs(t.Costs.Value), t.Costs.Hi95-t.Costs.Value, thick, t.After.Value, t.After.Hi95-t.After.Value)
	b.WriteString("The Y axis that rolls evenly costs the same as a twisted beam; angle readings at the head tell them apart. Intervals are 95 %.\n")
	return b.String()
}

// tramOf levels the bed to the nozzle, by what the nozzle met.
func tramOf(run record.Run, v analysis.Verdict, a api.AskRepair) (*api.Tram, string) {
	if len(a.Supports) == 0 {
		return nil, "Where the bed's supports are is not known: set desk.supports, x,y of each screw with blanks between them."
	}
	if _, failed := v.Stability.Failed(); failed {
		return nil, "The machine does not do the same twice: mend that first."
	}
	var met []workshop.Contact
	for _, g := range run.Gaugings {
		met = append(met, workshop.Contact{X: g.Place.U, Y: g.Place.V, Z: g.Z - g.Blade, T: g.T})
	}
	if slices.Contains(run.Steps, record.StepProve) {
		return nil, "This run gauged with the stored levelling on, which hides the bed's tilt: take a run of the step gauging."
	}
	p, err := workshop.Level(met)
	if err != nil {
		return nil, strings.TrimPrefix(err.Error(), "workshop: ") + "."
	}
	var at []workshop.Support
	for _, s := range a.Supports {
		at = append(at, workshop.Support{X: s.X, Y: s.Y})
	}
	moves, err := workshop.Tram(p, at, a.Pitch)
	if err != nil {
		return nil, strings.TrimPrefix(err.Error(), "workshop: ") + "."
	}
	per := func(w workshop.Value) api.Measured {
		return doubted(workshop.Value{Value: 100 * w.Value, U: 100 * w.U}, "mm per 100 mm")
	}
	t := &api.Tram{SlopeX: per(p.A), SlopeY: per(p.B), Off: p.Off, Pitch: a.Pitch}
	for _, m := range moves {
		t.Supports = append(t.Supports, api.TramSupport{X: m.X, Y: m.Y, Up: doubted(m.Up, "mm"), Turns: doubted(m.Turns, "turns"), Sure: m.Sure, Follows: m.Follows, Says: supportSays(m)})
	}
	t.Says = "As the nozzle sees the bed, not as the probe does. Turn with a right-hand thread and the nut below the bed: clockwise seen from below (counter-clockwise seen from above) draws the bed down. Builds differ: try an eighth of a turn and look which way the bed goes. " +
		"Afterwards set the Z offset, have the printer measure its map anew, and measure again. A correction in force expires with it."
	switch d := p.Drift; {
	case d == nil:
		t.Says += " Too few places were gauged to tell a drift of the heights in time from the tilt: what there was is in these numbers."
	case math.Abs(d.Value) > d.U95():
		t.Says += fmt.Sprintf(" While you gauged, all heights moved by %+.3f ±%.3f mm; that is taken out.", d.Value, d.U95())
	default:
		t.Says += fmt.Sprintf(" What a drift of the heights while you gauged (%+.3f ±%.3f mm) makes unsure is in the doubt.", d.Value, d.U95())
	}
	if p.Drift != nil {
		v := doubted(*p.Drift, "mm")
		t.Drift = &v
	}
	if len(moves) > 3 {
		t.Says += " Three supports carry a plane: loosen the others first, set the three, and bring the others up last until they just bear, since they would bend the bed."
	}
	return t, ""
}

func supportSays(m workshop.Adjustment) string {
	at := fmt.Sprintf("x=%.0f y=%.0f", m.X, m.Y)
	if m.Stays {
		return at + ": stays."
	}
	way := "up"
	if m.Up.Value < 0 {
		way = "down"
	}
	says := fmt.Sprintf("%s: %s by %.3f ±%.3f mm, %.2f ±%.2f turns", at, way, math.Abs(m.Up.Value), m.Up.U95(), math.Abs(m.Turns.Value), m.Turns.U95())
	if !m.Sure {
		says += " (within its doubt: leave it)"
	}
	if m.Follows {
		says += "; it only follows: bring it up last"
	}
	return says + "."
}
