package results

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis"
	"abbed/analysis/workshop"
	"abbed/config"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Repair says what a person can do with tools after a run.
func (s *Shelf) Repair(id string, a api.AskRepair) (api.Repair, error) {
	j, err := s.Judged(id)
	if err != nil {
		return api.Repair{}, err
	}
	return RepairOf(j.Run, j.Verdict, Asked(a, s.now.Owner()), s.now.InForce())
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

// RepairOf works out what to do with tools after a run, in the order in which to do it.
// inForce says that a correction stands in the printer's map.
func RepairOf(run record.Run, v analysis.Verdict, a api.AskRepair, inForce bool) (api.Repair, error) {
	for _, l := range []float64{a.Mounting, a.Spacing, a.Width, a.Height, a.Rails} {
		if !(l >= 0 && l <= 5000) {
			return api.Repair{}, api.Errorf(422, "bad-value", "give lengths in mm", "repair: %g mm is no length", l)
		}
	}
	if !(a.Pitch >= 0.1 && a.Pitch <= 5) {
		return api.Repair{}, api.Errorf(422, "bad-value", "Give mm in a turn, 0.1 to 5, such as 0.7.", "repair: %g mm is no pitch of a screw.", a.Pitch)
	}
	b := bench{run: run, v: v, AskRepair: a, inForce: inForce, ahead: v.Gap.Ahead()}
	out := api.Repair{Cautions: workshop.Cautions(), Steps: []api.RepairStep{}}
	if b.ahead != nil {
		b.now = b.ahead.Largest(analysis.Slope{})
		out.Largest = measured(&b.now)
	}
	out.Steps = append(out.Steps, b.steps()...)
	for i := range out.Steps {
		if out.Steps[i].Do == nil {
			out.Steps[i].Do = []string{}
		}
	}
	if len(out.Steps) == 0 {
		out.Why = b.why()
	}
	if len(a.Supports) == 0 {
		out.Missing = "Say where the screws of the bed are (setting desk.supports), and you get their turns."
	}
	return out, nil
}

// bench is what the steps are worked out from.
type bench struct {
	run record.Run
	v   analysis.Verdict
	api.AskRepair
	inForce bool
	ahead   *analysis.Ahead
	now     analysis.Measured
}

func (b bench) tolerance() float64 { return b.run.Setup.Criteria.Tolerance }

// steps are in the order of the work: what does not repeat; the Y axis; the beam, and
// after each of these a new run; then the bed's screws, the Z offset, the correction.
func (b bench) steps() []api.RepairStep {
	if f, failed := b.v.Stability.Failed(); failed {
		return []api.RepairStep{b.unsteady(f), {ID: "measure", Title: "Run the repeat test again.", Do: []string{"Go on only when it passes."}}}
	}
	work := b.tilting()
	if len(work) == 0 {
		return b.level()
	}
	if b.inForce {
		work = append([]api.RepairStep{{ID: "undo", Title: "Undo the correction.", Do: []string{"It was made for the machine as it is now."}}}, work...)
	}
	again := api.RepairStep{ID: "measure", Title: "Measure again: repeat, gauging and survey.", Then: "The bed's screws, the Z offset and the correction come after that run."}
	return append(work, again)
}

// unsteady is what to do about a failed gate.
func (b bench) unsteady(f analysis.Finding) api.RepairStep {
	switch f.ID {
	case analysis.WornWheels:
		return byHand("wheels", workshop.Wheels())
	case analysis.LooseCarriage:
		axis, _ := b.v.Stability.Play(b.run.Setup.Criteria)
		return byHand("play", workshop.Play(axis))
	}
	return api.RepairStep{ID: "other", Title: f.Sentence, Do: []string{f.Next}}
}

func byHand(id string, h workshop.Advice) api.RepairStep {
	return api.RepairStep{ID: id, Title: h.Title + ": look by hand.", Do: h.Steps}
}

// tilting are the acts on what tilts the head or the bed; none where the nozzle error is
// within the tolerance or not known.
func (b bench) tilting() []api.RepairStep {
	if b.ahead == nil && b.v.Has(analysis.Repair) {
		return []api.RepairStep{b.straighten("The nozzle error is too large for a correction. How large it is over the bed is not known: the run ended before.")}
	}
	if b.ahead == nil || b.now.Hi95 <= b.tolerance() {
		return nil
	}
	switch {
	case b.v.Has(analysis.BedRoll), b.v.Has(analysis.BedPitch):
		return []api.RepairStep{b.yAxis()}
	case b.v.Has(analysis.BeamTwist) && b.v.Rates(b.run.Setup.Lever).Twist != nil:
		return b.twisted()
	case b.v.Has(analysis.BeamPitch):
		return []api.RepairStep{b.pitched()}
	case b.v.Has(analysis.HeadTilt), b.v.Has(analysis.BeamTwist):
		return []api.RepairStep{{ID: "angles", Title: "Read the roll and the pitch of the head with a level (step angles).",
			Do:   []string{"The probe offset points between X and Y. This run shows roll and pitch as one number. A shim would be a guess.", "Or mount the probe in front of the nozzle or behind it, and measure again."},
			Then: "A roll is undone by a shim. For pitch straighten the beam or its rail: there is no shim."}}
	case b.v.Has(analysis.Repair):
		return []api.RepairStep{b.straighten("The nozzle error is too large for a correction, and its cause is not known.")}
	}
	return nil
}

// band says a largest nozzle error with its doubt: no number that is less than it.
func band(m analysis.Measured) string {
	if m.Lo95 < m.Hi95/3 {
		return "at most " + say.MM(m.Hi95)
	}
	return say.MM(m.Lo95) + " to " + say.MM(m.Hi95)
}

// foil is how well a stack of foil and its seat are known, and the lengths of the beam:
// 0.01 mm of some 0.2, and 2 % (common practice, no source).
const foil = 0.03

// twisted undoes a roll of the head at one end of the beam.
func (b bench) twisted() []api.RepairStep {
	act, helps := b.ahead.Even(foil, b.tolerance()/3)
	left := b.ahead.Largest(act)
	lever, r := b.run.Setup.Lever, workshop.Roll{}
	if t := b.v.Rates(lever).Twist; t != nil {
		r = workshop.RollOf(workshop.Value{Value: t.Value, U: t.U}, b.v.Gap.Area.W(), lever.X/lever.Y)
	}
	if !helps || r.High() == workshop.Neither {
		return []api.RepairStep{b.straighten("No shim is known to help: the nozzle error bends along X, or is not known well enough.")}
	}
	then := fmt.Sprintf("The largest nozzle error in the new run has to be %s. Now it is %s.", band(left), band(b.now))
	if left.Lo95 > b.tolerance() {
		then += " What is left bends along X, which no shim undoes: correct it, or replace the profile."
	}
	if b.Mounting == 0 {
		return []api.RepairStep{{ID: "brackets", Title: "Measure how far the brackets that hold the beam are from each other.",
			Do: []string{"A shim at one bracket can undo the roll of the head. How thick it has to be depends on this length.", "Give the length here, and you get the thickness."}, Then: then, Left: measured(&left)}}
	}
	return []api.RepairStep{b.profile(r), b.shim(act, r, left, then)}
}

// profile checks on the bench whether the profile is the cause.
func (b bench) profile(r workshop.Roll) api.RepairStep {
	high := r.High()
	gap := r.Rocking(b.Width, b.Mounting)
	in, out := workshop.Blades(gap)
	try := ""
	if in > 0 {
		try += fmt.Sprintf(" A feeler gauge of %s goes under it.", say.MM(in))
	}
	if out > 0 {
		try += fmt.Sprintf(" One of %s does not.", say.MM(out))
	}
	section := "square"
	if b.Height > 0 {
		section = fmt.Sprintf("%s x %s", say.Short(b.Width), say.Far(b.Height))
	}
	allowed := workshop.Allowed(b.Width, b.Height, b.Mounting) * math.Pi / 180
	return api.RepairStep{ID: "profile", Title: "If you can take the profile out, check it on a flat reference first.",
		Do: []string{
			fmt.Sprintf("Take brackets and rails off. Lay it as it is mounted, the same side up. A twisted one rests on its %s right and %s left corners, and rocks.", high.Other(), high),
			fmt.Sprintf("Press the %s left corner down. The gap under the %s right corner is %s, if only the profile is twisted.%s", high.Other(), high, say.Within(gap.Value, gap.U95()), try),
			fmt.Sprintf("A new one (%s) may have up to %s (ANSI H35.2).", section, say.MM(workshop.Cost(b.Width-workshop.Edges, workshop.Value{Value: allowed}).Value)),
		},
		Then:   "If the gap is smaller, brackets or Y axis tilt the head as well. The shim undoes all of them.",
		Amount: inMM(gap)}
}

// shim is the foil under a bracket, or at a rail.
func (b bench) shim(act analysis.Slope, r workshop.Roll, left analysis.Measured, then string) api.RepairStep {
	low := r.High().Other()
	over, at := b.Spacing, fmt.Sprintf("under every %s screw of the right bracket", low)
	if b.Rails > 0 {
		over, at = b.Rails, fmt.Sprintf("under the %s rail at its right end", low)
	}
	lift := workshop.Roll{Value: act.K / b.run.Setup.Lever.Y}.Lift(b.Mounting, over)
	thick := math.Round(100*lift.Value) / 100
	lift = workshop.Value{Value: thick, U: foil * thick}
	return api.RepairStep{ID: "shim", Title: fmt.Sprintf("Put a shim of %s %s.", say.MM(thick), at),
		Do: []string{
			"Stack foil to that thickness. Check the stack with a micrometer.",
			"Put it under the whole seat of the screws. Tighten all screws of the bracket in turn, a little each time.",
			fmt.Sprintf("It is for screws %s apart across the beam and brackets %s apart. Under the %s screws of the left bracket it does the same.", say.Far(over), say.Far(b.Mounting), r.High()),
		}, Then: then, Amount: inMM(lift), Left: measured(&left)}
}

// straighten is what to do to a beam that no shim helps.
func (b bench) straighten(why string) api.RepairStep {
	then := "The run has to come to its end."
	if b.ahead != nil {
		then = b.smaller()
	}
	return api.RepairStep{ID: "beam", Title: "Straighten or replace the beam or its rail.",
		Do: []string{why,
			"Look along it, and lay a straight edge on it. A gap under the middle is a bend. A corner that is off it is a twist.",
			"Loosen the screws of one bracket, let the beam rest, and tighten them crosswise. Look whether the brackets are square and tight."},
		Then: then}
}

func (b bench) smaller() string {
	return "The largest nozzle error has to be smaller in the new run. Now it is " + band(b.now) + "."
}

// pitched is what to do about pitch and straightness, which are one number.
func (b bench) pitched() api.RepairStep {
	s := b.straighten("The probe offset points along X: pitch of the head and straightness of the beam are one number. There is no shim for them.")
	s.ID = "pitch"
	s.Do = append(s.Do, "If the beam is straight, look at what the head rides on. All wheels, or both ends of the rail's carriage, have to be tight.")
	return s
}

// yAxis comes before the beam: what it makes changes what the beam seems to make.
func (b bench) yAxis() api.RepairStep {
	title := "Set the rails that carry the bed."
	if b.run.Setup.Layout == record.MovingGantry {
		title = "Set the side rails that carry the beam."
	}
	return api.RepairStep{ID: "y-axis", Title: title, Then: b.smaller(),
		Do: append([]string{"The Y axis tilts unevenly as it travels. It comes before the beam: the number of the beam changes with it."}, workshop.YAxis().Steps...)}
}

// level are the acts on a machine that tilts nothing any more: screws, Z offset,
// correction.
func (b bench) level() []api.RepairStep {
	var out []api.RepairStep
	if s, ok := b.screws(); ok {
		out = append(out, s)
	}
	if l := b.v.Level; len(out) > 0 {
		out = append(out, api.RepairStep{ID: "z-offset", Title: "Set the Z offset at the zero place with the feeler gauge.", Do: []string{"The screws have moved the bed. Then let the printer measure its bed map again."}})
	} else if l != nil && math.Abs(l.Value) > l.U95() && math.Abs(l.Value) > b.tolerance()/3 {
		out = append(out, api.RepairStep{ID: "z-offset", Title: fmt.Sprintf("Set the Z offset %s.", say.Goes(-l.Value)), Do: []string{"Known to " + say.PM(l.U95()) + ". The bed map stays right."}, Amount: measured(l)})
	}
	if len(out) > 0 {
		out = append(out, api.RepairStep{ID: "measure", Title: "Measure again: repeat, gauging and survey.", Then: "The screws and the Z offset have to need nothing then."})
	}
	if t, why := b.v.Table(b.run); why == nil && len(t.Nodes) > 0 {
		out = append(out, api.RepairStep{ID: "correct", Title: "Correct what remains.", Do: []string{"Approve the correction of the latest run, and apply it."}, Then: "Verify it with the feeler gauge, or with printed patches."})
	}
	return out
}

// screws levels the bed to the nozzle, by what the nozzle met.
func (b bench) screws() (api.RepairStep, bool) {
	s := api.RepairStep{ID: "screws"}
	if len(b.Supports) == 0 || slices.Contains(b.run.Steps, record.StepProve) {
		return s, false // with the stored levelling on, the nozzle follows the bed's tilt
	}
	var met []workshop.Contact
	for _, g := range b.run.Gaugings {
		met = append(met, workshop.Contact{X: g.Place.U, Y: g.Place.V, Z: g.Z - g.Blade, T: g.T})
	}
	var at []workshop.Support
	for _, p := range b.Supports {
		at = append(at, workshop.Support{X: p.X, Y: p.Y})
	}
	p, err := workshop.Level(met, math.Max(b.run.Setup.Criteria.GaugeScatter, 1e-3))
	if err != nil {
		return s, false
	}
	moves, err := workshop.Tram(p, at, b.Pitch)
	if err != nil {
		return s, false
	}
	turn := false
	for _, m := range moves {
		turn = turn || m.Eighths != 0
		x := api.Screw{X: m.X, Y: m.Y, Up: *inMM(m.Up), Turns: *inMM(m.Turns), Eighths: m.Eighths, Says: say.At(m.X, m.Y) + ": " + turns(m)}
		if m.Stays {
			x.Says = say.At(m.X, m.Y) + ": leave it, the others follow this one."
		}
		x.Turns.Unit = "turns"
		s.Screws, s.Do = append(s.Screws, x), append(s.Do, x.Says)
	}
	s.Title = "Turn the bed's screws, in this order: half of each first, then the other half."
	s.Do = append(s.Do, fmt.Sprintf("One turn moves the bed by %s. With the nut below the bed, clockwise from below lowers it. Try an eighth first, and look which way the bed goes.", say.MM(b.Pitch)),
		"This is the bed as the nozzle meets it. The probe sees another tilt.")
	return s, turn
}

// turns says how to turn one screw, in eighths.
func turns(m workshop.Adjustment) string {
	if m.Eighths == 0 {
		return "leave it."
	}
	way, n := "raise", m.Eighths
	if n < 0 {
		way, n = "lower", -n
	}
	count := fmt.Sprintf("%d", n/8)
	if n%8 != 0 {
		count = strings.TrimPrefix(count+" ", "0 ") + map[int]string{1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8"}[n%8]
	}
	return fmt.Sprintf("%s the bed by %s turn (%s).", way, count, say.MM(math.Abs(m.Up.Value)))
}

// why says why there is nothing to do.
func (b bench) why() string {
	if b.ahead == nil {
		hint := "Run the step gauging."
		text := "the nozzle was not at the feeler gauge"
		if w := b.v.GapWhy; w != nil {
			text = w.Text
			if w.Hint != "" {
				hint = strings.ToUpper(w.Hint[:1]) + w.Hint[1:] + "."
			}
		}
		return hint + " What tools can do is not known: " + text + "."
	}
	if b.now.Hi95 <= b.tolerance() {
		return fmt.Sprintf("There is nothing to do with tools: the nozzle error is %s, and the limit is %s.", band(b.now), say.MM(b.tolerance()))
	}
	return fmt.Sprintf("Take more readings: the nozzle error is %s, and no cause is known that tools could mend.", band(b.now))
}

// inMM is a value of the workshop in the contract's shape: its u is judged, and has no
// finite degrees of freedom (see workshop).
func inMM(v workshop.Value) *api.Measured {
	return &api.Measured{Value: v.Value, U: v.U, Lo95: v.Value - v.U95(), Hi95: v.Value + v.U95(), Unit: "mm"}
}
