package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/probe/record"
)

// findings draws the conclusions, in the order of design/1: what ended the run
// early, failed gates, no-lever, repair, causes by what they cost,
// undetermined, true-shape, healthy, drift that was removed.
func (e evidence) findings() []Finding {
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
		fs = slices.DeleteFunc(fs, func(f Finding) bool { return f.ID == DriftFound })
		fs = append(fs, f)
	}
	c := e.run.Cut
	if c == nil {
		c = cutLater(e.run)
	}
	if c != nil {
		fs = slices.DeleteFunc(fs, func(f Finding) bool { return f.ID == c.Finding })
		fs = append([]Finding{e.cut(*c)}, fs...)
	}
	if len(fs) == 0 {
		fs = append(fs, e.undetermined("The run does not tell anything yet.", "Run the steps repeat, gauging and survey."))
	}
	return fs
}

// cut is the reason for which the run ended early, with the evidence of the
// gate of the same name where there is one.
func (e evidence) cut(c record.Cut) Finding {
	f := Finding{ID: c.Finding, Sentence: c.Text, Evidence: "The run was ended for this reason: " + c.Code + ".", Next: c.Next,
		Doubt: "It was judged while the run went on, by what was measured until then."}
	if !slices.Contains(allFindings, f.ID) {
		f.ID = Undetermined
	}
	for _, g := range e.failed() {
		if g.ID == f.ID {
			f.Evidence, f.Doubt = g.Evidence, g.Doubt
		}
	}
	return f
}

var allFindings = []string{Healthy, BeamTwist, BeamPitch, HeadTilt, BedRoll, BedPitch, TrueShape, LooseCarriage,
	WornWheels, ProbeNotRepeatable, DriftFound, NoLever, Repair, Undetermined}

func (e evidence) noLever() Finding {
	_, u := e.gauged.surface.contrast(record.Place{}, record.Place{})
	if e.gauged.gap != nil {
		_, u = e.gauged.gap.surface.contrast(record.Place{}, record.Place{})
	}
	return Finding{
		ID:       NoLever,
		Sentence: "The probe is the nozzle: however the head tilts, the map is what the nozzle meets. There is nothing to correct, and no gauging is needed.",
		Evidence: fmt.Sprintf("The lever from nozzle to probe is %.1f mm.", e.run.Setup.Lever.Length()),
		Doubt:    fmt.Sprintf("The gap error is 0 by construction; half a millimetre of lever that nobody sees would make %s at most.", um(math.Max(u, 0.001))),
		Next:     "If the first layer is uneven all the same, look at the stability above, the bed's temperature and the age of the map.",
	}
}

// ofGap concludes from gap error and profile on a steady machine with a lever.
func (e evidence) ofGap() []Finding {
	if e.Gap == nil {
		return e.withoutGap()
	}
	var fs []Finding
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
			e.undecided = fmt.Sprintf("somewhere the gap error may be beyond the tolerance of %s, but that is not certain", um(c.Tolerance))
			missing = append([]string{fmt.Sprintf("%s: it is largest at %s, %s ±%s.", capital(e.undecided), x.Place, um(x.Gap), um(x.U95))}, missing...)
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
const byPatches = " It rests on printed patches alone, with their doubt; a correction from them stays unverified until one point has been gauged with it in force."

// withoutGap concludes where no gap error could be told.
func (e evidence) withoutGap() []Finding {
	if e.run.Proof != nil {
		return []Finding{e.undetermined("This run gauged the nozzle with a correction in force: it tells whether the correction is right, and nothing of the machine.",
			"See with the correction what was shown.")}
	}
	sentence := "Whether the map can be trusted cannot be said yet: a map alone cannot tell the bed from the beam."
	if e.steady.measured && e.steady.Wander != nil && !e.run.Asked(record.StepGauging) {
		sentence = "The machine repeats itself. Whether its map can be trusted a run without gauging cannot say: a map alone cannot tell the bed from the beam."
	}
	next := "Run the step gauging."
	if w := e.GapWhy; w != nil && w.Code != "no-gauging" {
		sentence = "The gap error cannot be told yet: " + w.Text + "."
		next = capital(w.Hint) + "."
	}
	return append([]Finding{e.undetermined(sentence, next)}, e.contradicted()...)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// missing lists what a judgement of healthy still wants: gates that were not
// measured, gauging that was not finished, a second row.
func (e evidence) missing() []string {
	var out []string
	switch {
	case !e.steady.measured:
		out = append(out, "The repeat test is missing, so that nobody knows whether the machine does the same twice.")
	case e.steady.Wander == nil:
		out = append(out, "The passes over one row are missing, so that nobody knows whether the head takes the same way twice.")
	}
	if r := e.steady.Ride; r != nil && r.Suspect {
		out = append(out, "Touches do not fit with each other, and whether the bed or the carriage does it is not proven. "+r.Says())
	}
	asked := e.run.Asked(record.StepGauging)
	if asked && !e.run.Did(record.StepGauging) && !e.run.Did(record.StepSurvey) {
		out = append(out, "The gauging was not finished: outside the gauged places nothing is known.")
	}
	if len(e.gauged.rows()) < 2 {
		out = append(out, "Only one row was gauged: what changes from front to back is not known.")
	}
	return out
}

func (e evidence) nextStep() string {
	switch {
	case !e.steady.measured, e.steady.Wander == nil:
		return "Run the step repeat to its end, then the others."
	case e.steady.Ride != nil && e.steady.Ride.Suspect:
		return "Run repeat and survey again: marks of the bed stay where they are, what worn wheels do is elsewhere each time. With the printer unplugged and cool, look at bed, wheels and their tracks, and turn each wheel by hand: flats are felt once a turn."
	case len(e.gauged.rows()) < 2:
		return fmt.Sprintf("Gauge a second row, for instance at %s.", e.gauged.secondRow())
	}
	if p, now, after, ok := e.gauged.next(reachable(e.run)); ok && after < now-1e-6 {
		return fmt.Sprintf("Gauge more: one record at %s lowers the largest doubt most, from %s to about %s.", p, um(now), um(after))
	}
	return "Gauge more: the places that are there once more."
}

func (e evidence) undetermined(sentence, next string) Finding {
	f := Finding{ID: Undetermined, Sentence: sentence, Next: next, Doubt: "The data do not tell more."}
	f.Evidence = fmt.Sprintf("%d touches and %d gaugings.", len(e.run.Touches), len(e.run.Gaugings))
	if p := e.Profile; p != nil && p.Significant {
		f.Evidence += fmt.Sprintf(" The survey has a left-right shape of %s (peak to valley, straight line taken out), with an agreement of %.2f between front and back: a beam would do so, and so would a bed bent like a trough.",
			um(p.Size.Value), p.Agreement)
	} else if p != nil {
		f.Evidence += " The survey's left-right shape is not above its noise; a constant twist would not show in it."
	}
	return f
}

// repair says that the gap error is beyond what a map may put right: in size,
// or in slope by more than its doubt (a slope over 40 mm is known badly; what is
// near the limit is left to the table, which knows its nodes: too-steep).
func (e evidence) repair(x Extreme) (Finding, bool) {
	c := e.run.Setup.Criteria
	large := math.Abs(x.Gap) > c.Largest
	steep := x.Slope-x.SlopeU95 > c.Steepest
	if !large && !steep {
		return Finding{}, false
	}
	f := Finding{
		ID:       Repair,
		Sentence: "The head tilts too much to be put right in the map. Repair comes first; no correction is offered.",
		Evidence: fmt.Sprintf("The gap error reaches %s at %s (limit %s), its steepest slope %s per 100 mm (limit %s).",
			um(x.Gap), x.Place, um(c.Largest), um(100*x.Slope), um(100*c.Steepest)),
		Doubt: fmt.Sprintf("±%s there, ±%s per 100 mm (95 %%).", um(x.U95), um(100*x.SlopeU95)),
		Next:  "With the printer off, look whether beam, rails and wheels sit square and tight, and whether the beam itself is twisted; align, shim or replace it as the maker describes, then measure again.",
	}
	return f, true
}

func (e evidence) healthy(x Extreme) Finding {
	f := Finding{
		ID:       Healthy,
		Sentence: "Steady and true: the map can be trusted, nothing needs correction.",
		Evidence: fmt.Sprintf("Everywhere in the gauged area the gap error with its doubt stays within %s; it is largest at %s: %s ±%s.",
			um(e.run.Setup.Criteria.Tolerance), x.Place, um(x.Gap), um(x.U95)),
		Doubt: "Outside the gauged area nothing is known. Intervals are 95 %.",
		Next:  "Nothing. Measure again after a repair, a crash or a move of the printer.",
	}
	if r := e.steady.Ride; r != nil && r.Off > 0 {
		f.Doubt += fmt.Sprintf(" %d of %d touches of the survey lie off their neighbours.", r.Off, r.Touches)
	}
	if un := e.steady.unmeasured(); len(un) > 0 {
		f.Doubt += " Not measured: " + strings.Join(un, ", ") + "."
	}
	if a := e.run.Setup.Applied; a != nil {
		f.Next = "A correction of ours is in force though the machine does not need one: undo it. " + f.Next
	}
	return f
}

// trueShape says that the survey's left-right shape is real: its share is near
// 0, or the nozzle was found true everywhere. Shapes below the tolerance are
// not worth a word.
func (e evidence) trueShape(good bool) (Finding, bool) {
	p := e.Profile
	if p == nil || !p.Significant || p.Size.Value <= e.run.Setup.Criteria.Tolerance {
		return Finding{}, false
	}
	small := e.Share != nil && e.Share.Hi95 < 0.5 && e.Share.Lo95 > -0.5
	if !small && !good {
		return Finding{}, false
	}
	f := Finding{
		ID:       TrueShape,
		Sentence: "The map's left-right shape is real: the nozzle meets it too, and the stored map deals with it.",
		Evidence: fmt.Sprintf("The survey has a left-right shape of %s (peak to valley, straight line taken out).", um(p.Size.Value)),
		Doubt:    fmt.Sprintf("The shape's size: ±%s (95 %%).", um(p.Size.U95())),
		Next:     "Nothing, as long as the stored map is used. Whether bed or rail is bent a map cannot say; for the first layer it does not matter.",
	}
	if e.Share != nil {
		f.Evidence += fmt.Sprintf(" Of it %.0f %% (%.0f to %.0f %%) is lever error.", 100*inShare(e.Share.Value), 100*inShare(e.Share.Lo95), 100*inShare(e.Share.Hi95))
	}
	return f, true
}

// driftAlarm is the probability of telling somebody with a steady machine that it
// drifted: one in a hundred, over the repeat test and the survey together. What
// was taken out on weaker evidence costs little, and is not said.
const driftAlarm = 0.01

// said says whether a drift that was taken out is large and certain enough.
func (d *Drift) said(least float64) bool {
	return d != nil && d.Removed && d.chance <= driftAlarm/2 && d.Total != nil && d.Total.Apart() && math.Abs(d.Total.Value) >= least
}

// driftRemoved says a drift that was taken out: as the survey tells it, else as
// the repeat test does.
func (e evidence) driftRemoved() (Finding, bool) {
	d, least := e.steady.survey, e.run.Setup.Criteria.DriftSaid
	if !d.said(least) {
		d = e.steady.Drift
	}
	if !d.said(least) {
		return Finding{}, false
	}
	f := Finding{
		ID:       DriftFound,
		Sentence: "The heights drifted while the printer was measured; the drift was regular, and was taken out.",
		Evidence: fmt.Sprintf("%s in all, %s per minute at the end (%s).", um(d.Total.Value), um(d.Rate.Value), kindSays[d.Kind]),
		Doubt:    fmt.Sprintf("The total lies between %s and %s (95 %%); taking it out leaves %s.", um(d.Total.Lo95), um(d.Total.Hi95), um(d.Left)),
		Next:     "Let the printer warm up longer before it is measured, and before its Z offset is set.",
	}
	return f, true
}

// gapDrifts says that the gap error itself moved in time while it was gauged,
// though touches and gaugings of one place were paired: what one place showed
// early and late tells it, the fit took it out, and its doubt is in every number.
func (e evidence) gapDrifts() (Finding, bool) {
	if e.Gap == nil || e.gauged.surface.post == nil {
		return Finding{}, false
	}
	m := e.Model.Drift
	if _, _, weight := e.gauged.surface.post.Drift(); m == nil || weight < 0.9 || !m.Apart() || math.Abs(m.Value) < e.run.Setup.Criteria.DriftSaid {
		return Finding{}, false
	}
	_, half := e.gauged.times()
	return Finding{
		ID:       DriftFound,
		Sentence: "The gap at one and the same place changed while it was gauged: the height at which the probe triggers drifts, or the hand at the blade. It was regular, and was taken out.",
		Evidence: fmt.Sprintf("From the first record to the last, %.0f minutes, the gap changed by %s (the same places early and late).", 2*half/60, um(m.Value)),
		Doubt:    fmt.Sprintf("The change lies between %s and %s (95 %%). Whether probe or hand made it, the records do not tell. The gap error and the Z offset's level hold for the middle of the gauging.", um(m.Lo95), um(m.Hi95)),
		Next:     "Let the probe reach the temperature at which you print before the next gauging (a probe that warms up triggers at another height), draw the blade the same way each time, and gauge the zero place again at the end.",
	}, true
}

var kindSays = map[string]string{level: "no drift", slope: "a steady slope", settling: "settling", irregular: "irregular"}

// inShare is a share as it is said: its interval may reach beyond what a share can be.
func inShare(v float64) float64 { return min(1, max(0, v)) }
