package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// findings draws the conclusions, in the order of design/1: what ended the run
// early, failed gates, no-lever, repair, causes by what they cost,
// undetermined, true-shape, healthy, drift that was removed.
func (e evidence) findings() []result.Finding {
	fs := e.failed()
	passed := len(fs) == 0
	if e.run.Setup.NoLever() {
		fs = append(fs, e.noLever())
	} else if passed {
		fs = append(fs, e.sayLater(e.ofGap())...)
	}
	if f, ok := e.driftRemoved(); ok && passed {
		fs = append(fs, f)
	}
	if f, ok := e.gapDrifts(); ok && passed {
		fs = slices.DeleteFunc(fs, func(f result.Finding) bool { return f.ID == result.DriftFound })
		fs = append(fs, f)
	}
	c := e.run.Cut
	if c == nil {
		c = cutLater(e.run)
	}
	if c != nil {
		fs = slices.DeleteFunc(fs, func(f result.Finding) bool { return f.ID == c.Finding })
		fs = append([]result.Finding{e.cut(*c)}, fs...)
	}
	if len(fs) == 0 {
		fs = append(fs, e.undetermined("This run shows nothing yet.", "Measure: the repeat test, the feeler gauge and the survey."))
	}
	return fs
}

// cut is the reason for which the run ended early, with the evidence of the
// gate of the same name where there is one.
func (e evidence) cut(c record.Cut) result.Finding {
	f := result.Finding{ID: c.Finding, Sentence: c.Text, Evidence: "The run ended for this reason: " + c.Code + ".", Next: c.Next,
		Doubt: "abbed judged it during the run, by what it had measured until then."}
	if !slices.Contains(allFindings, f.ID) {
		f.ID = result.Undetermined
	}
	for _, g := range e.failed() {
		if g.ID == f.ID {
			f.Evidence, f.Doubt = g.Evidence, g.Doubt
		}
	}
	return f
}

var allFindings = []string{result.Healthy, result.BeamTwist, result.BeamPitch, result.HeadTilt, result.BedRoll, result.BedPitch, result.TrueShape, result.LooseCarriage,
	result.WornWheels, result.ProbeNotRepeatable, result.DriftFound, result.NoLever, result.Repair, result.Undetermined}

func (e evidence) noLever() result.Finding {
	_, u := e.gauged.surface.contrast(record.Place{}, record.Place{})
	if e.gauged.gap != nil {
		_, u = e.gauged.gap.surface.contrast(record.Place{}, record.Place{})
	}
	return result.Finding{
		ID:       result.NoLever,
		Sentence: "The probe is the nozzle, so the bed map is right. There is nothing to correct.",
		Evidence: fmt.Sprintf("The probe offset is %s.", say.Far(e.run.Setup.Lever.Length())),
		Doubt:    fmt.Sprintf("The nozzle error is zero by construction. An unseen probe offset of 0.5 mm makes %s at most.", say.Fine(math.Max(u, 0.001))),
		Next:     "If the first layer is uneven, measure the bed map again at printing temperature.",
	}
}

// ofGap concludes from gap error and profile on a steady machine with a lever.
func (e evidence) ofGap() []result.Finding {
	if e.Gap == nil {
		return e.withoutGap()
	}
	var fs []result.Finding
	x := e.largest
	c := e.run.Setup.Criteria
	if f, beyond := e.repair(x); beyond {
		fs = append(fs, f)
	}
	good := math.Abs(x.Gap)+x.U95 <= c.Tolerance
	missing := e.missing()
	if !good {
		causes := e.causes()
		fs = append(fs, causes...)
		if len(causes) == 0 && len(fs) == 0 {
			e.undecided = fmt.Sprintf("The nozzle error may be beyond %s, but that is not certain", say.MM(c.Tolerance))
			missing = append([]string{fmt.Sprintf("%s. At %s the nozzle is %s (%s).", e.undecided, x.Place, say.Too(x.Gap), say.PM(x.U95))}, missing...)
		}
	}
	fs = append(fs, e.contradicted()...)
	if len(e.gauged.pairs) == 0 && len(fs) > 0 {
		fs[0].Doubt += byPatches
	}
	if len(missing) > 0 {
		fs = append(fs, e.undetermined(missing[0], e.nextStep()))
	}
	if f, ok := e.trueShape(good); ok {
		fs = append(fs, f)
	}
	if good && len(e.missing()) == 0 && e.otherwise() == nil {
		f := e.healthy(x)
		if len(e.gauged.pairs) == 0 {
			f.Doubt += byPatches
		}
		fs = append(fs, f)
	}
	return fs
}

// byPatches says what stands on printed patches alone.
const byPatches = " It rests on printed patches alone. A correction from them stays unverified until one reading at the gauge."

// withoutGap concludes where no gap error could be told.
func (e evidence) withoutGap() []result.Finding {
	if e.run.Proof != nil {
		return []result.Finding{e.undetermined("This run verified a correction. It shows nothing else of the printer.",
			"Look at the correction.")}
	}
	sentence := "The bed map alone does not show whether bed or beam is bent."
	if e.steady.Tested && e.steady.Wander != nil && !e.run.Asked(record.StepGauging) {
		sentence = "The printer repeats itself. Whether the bed map is right, only the feeler gauge shows."
	}
	next := "Take readings at the feeler gauge."
	if w := e.GapWhy; w != nil && w.Code != "no-gauging" {
		sentence = "The nozzle error is not known yet. " + say.Sentence(w.Text)
		next = say.Sentence(w.Hint)
	}
	return append([]result.Finding{e.undetermined(sentence, next)}, e.contradicted()...)
}

// missing lists what a judgement of healthy still wants: gates that were not
// measured, gauging that was not finished, a second row.
func (e evidence) missing() []string {
	var out []string
	switch {
	case !e.steady.Tested:
		out = append(out, "The repeat test is missing, so it is not known whether the printer repeats itself.")
	case e.steady.Wander == nil:
		out = append(out, "Without passes over one row it is not known whether the wheels run true.")
	}
	if r := e.steady.Ride; r != nil && r.Suspect {
		out = append(out, "Touches do not fit each other. Bed or carriage may be the cause. "+r.Says)
	}
	asked := e.run.Asked(record.StepGauging)
	if asked && !e.run.Did(record.StepGauging) && !e.run.Did(record.StepSurvey) {
		out = append(out, "Some readings are missing. Beyond the points you gauged nothing is known.")
	}
	if len(e.gauged.rows()) < 2 {
		out = append(out, "You gauged one row only. What changes from front to back is not known.")
	}
	return out
}

func (e evidence) nextStep() string {
	switch {
	case !e.steady.Tested, e.steady.Wander == nil:
		return "Measure again, to the end."
	case e.steady.Ride != nil && e.steady.Ride.Suspect:
		return "Measure again. Marks on the bed stay where they are. What worn wheels do moves. Then unplug the printer and let it cool. Turn each wheel by hand to feel for flats."
	case len(e.gauged.rows()) < 2:
		return fmt.Sprintf("Gauge a second row, for example at %s.", e.gauged.secondRow())
	}
	if p, now, after, ok := e.gauged.next(reachable(e.run)); ok && after < now-1e-6 {
		return fmt.Sprintf("Take one more reading at %s. It helps most.", p)
	}
	return "Gauge the same points once more."
}

func (e evidence) undetermined(sentence, next string) result.Finding {
	f := result.Finding{ID: result.Undetermined, Sentence: sentence, Next: next, Doubt: "The data do not show more."}
	f.Evidence = fmt.Sprintf("%d touches and %d readings.", len(e.run.Touches), len(e.run.Gaugings))
	if p := e.Profile; p != nil && p.Significant {
		f.Evidence += fmt.Sprintf(" The survey has a left-right shape of %s (peak to valley, without its straight line). Front and back agree by %.2f: a bent beam or a bed bent like a trough.",
			say.Fine(p.Size.Value), p.Agreement)
	} else if p != nil {
		f.Evidence += " The survey's left-right shape is not above its noise. A constant twist does not show in it."
	}
	return f
}

// repair says that the gap error is beyond what a map may put right: in size,
// or in slope by more than its doubt (a slope over 40 mm is known badly; what is
// near the limit is left to the table, which knows its nodes: too-steep).
func (e evidence) repair(x Extreme) (result.Finding, bool) {
	c := e.run.Setup.Criteria
	large := math.Abs(x.Gap) > c.Largest
	steep := x.Slope-x.SlopeU95 > c.Steepest
	if !large && !steep {
		return result.Finding{}, false
	}
	f := result.Finding{
		ID:       result.Repair,
		Sentence: "The head tilts too much for a correction. Repair the printer.",
		Evidence: fmt.Sprintf("The nozzle error reaches %s at %s (limit %s). Its steepest slope is %s per 100 mm (limit %s).",
			say.Fine(x.Gap), x.Place, say.Fine(c.Largest), say.Fine(100*x.Slope), say.Fine(100*c.Steepest)),
		Doubt: fmt.Sprintf("It is known to ±%s there, the slope to ±%s per 100 mm.", say.Fine(x.U95), say.Fine(100*x.SlopeU95)),
		Next:  "Switch the printer off. Check that beam, rails and wheels are square, tight and not twisted. Align, shim or replace as the maker describes, then measure again.",
	}
	return f, true
}

func (e evidence) healthy(x Extreme) result.Finding {
	f := result.Finding{
		ID:       result.Healthy,
		Sentence: "The bed map is right. Nothing needs a correction.",
		Evidence: fmt.Sprintf("The nozzle error is within %s everywhere between the points. It is largest at %s: %s ±%s.",
			say.MM(e.run.Setup.Criteria.Tolerance), x.Place, say.Fine(x.Gap), say.Fine(x.U95)),
		Doubt: "Beyond the points nothing is known. Intervals are 95 %.",
		Next:  "Measure again after a repair, a crash or a move of the printer.",
	}
	if r := e.steady.Ride; r != nil && r.Off > 0 {
		f.Doubt += fmt.Sprintf(" %d of %d touches of the survey do not fit their neighbours.", r.Off, r.Touches)
	}
	if un := e.steady.Unmeasured(); len(un) > 0 {
		f.Doubt += " Not measured: " + strings.Join(un, ", ") + "."
	}
	if a := e.run.Setup.Applied; a != nil {
		f.Next = "Undo the correction in force: the printer does not need it. " + f.Next
	}
	return f
}

// trueShape says that the survey's left-right shape is real: its share is near
// 0, or the nozzle was found true everywhere. Shapes below the tolerance are
// not worth a word.
func (e evidence) trueShape(good bool) (result.Finding, bool) {
	p := e.Profile
	if p == nil || !p.Significant || p.Size.Value <= e.run.Setup.Criteria.Tolerance {
		return result.Finding{}, false
	}
	small := e.Share != nil && e.Share.Hi95 < 0.5 && e.Share.Lo95 > -0.5
	if !small && !good {
		return result.Finding{}, false
	}
	f := result.Finding{
		ID:       result.TrueShape,
		Sentence: "The shape of the bed map is real. The bed map corrects it.",
		Evidence: fmt.Sprintf("The survey has a left-right shape of %s (peak to valley, without its straight line).", say.Fine(p.Size.Value)),
		Doubt:    fmt.Sprintf("The size of the shape is known to ±%s.", say.Fine(p.Size.U95())),
		Next:     "Keep the bed map in use.",
	}
	if e.Share != nil {
		f.Evidence += shareSays(*e.Share)
	}
	return f, true
}

// driftRemoved says a drift that was taken out: as the survey tells it, else as
// the repeat test does.
func (e evidence) driftRemoved() (result.Finding, bool) {
	d, least := e.steady.Survey, e.run.Setup.Criteria.DriftSaid
	if !d.Said(least) {
		d = e.steady.Drift
	}
	if !d.Said(least) {
		return result.Finding{}, false
	}
	f := result.Finding{
		ID:       result.DriftFound,
		Sentence: "The heights drifted during the run. abbed took the drift out.",
		Evidence: fmt.Sprintf("%s in all, %s per minute at the end (%s).", say.Fine(d.Total.Value), say.Fine(d.Rate.Value), kindSays[d.Kind]),
		Doubt:    fmt.Sprintf("The total is between %s and %s (95 %%). Without it %s are left.", say.Fine(d.Total.Lo95), say.Fine(d.Total.Hi95), say.Fine(d.Left)),
		Next:     "Let the printer warm up longer before you measure or set the Z offset.",
	}
	return f, true
}

// gapDrifts says that the gap error itself moved in time while it was gauged,
// though touches and gaugings of one place were paired: what one place showed
// early and late tells it, the fit took it out, and its doubt is in every number.
func (e evidence) gapDrifts() (result.Finding, bool) {
	if e.Gap == nil || e.gauged.surface.post == nil {
		return result.Finding{}, false
	}
	m := e.Model.Drift
	if _, _, weight := e.gauged.surface.post.Drift(); m == nil || weight < 0.9 || !m.Apart() || math.Abs(m.Value) < e.run.Setup.Criteria.DriftSaid {
		return result.Finding{}, false
	}
	_, half := e.gauged.times()
	return result.Finding{
		ID:       result.DriftFound,
		Sentence: "The readings drifted. Probe or hand changed meanwhile. abbed took the drift out.",
		Evidence: fmt.Sprintf("From first to last reading, %s, the gap at one point changed by %s.", say.Span(2*half), say.Fine(m.Value)),
		Doubt:    fmt.Sprintf("The change is between %s and %s (95 %%). Probe and hand look alike. Nozzle error and Z offset hold for the middle of the readings.", say.Fine(m.Lo95), say.Fine(m.Hi95)),
		Next:     "Let the probe reach printing temperature first. Draw the gauge the same way each time.",
	}, true
}

var kindSays = map[string]string{steady.Level: "no drift", steady.Slope: "a steady slope", steady.Settling: "settling", steady.Irregular: "irregular"}

// shareSays says a share within 0 to 100 %: its interval may reach beyond what a share can be.
func shareSays(m result.Measured) string {
	in := func(v float64) float64 { return 100 * min(1, max(0, v)) }
	if m.Lo95 >= 1 {
		return " All of the bed map's left-right shape is nozzle error."
	}
	return fmt.Sprintf(" Of the bed map's left-right shape %.0f %% (%.0f to %.0f %%) is nozzle error.", in(m.Value), in(m.Lo95), in(m.Hi95))
}
