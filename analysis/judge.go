package analysis

import "abbed/probe/record"

// evidence is what the findings are drawn from.
type evidence struct {
	run    record.Run
	steady steadiness
	survey *survey
	gauged gauged
	ways   ways
	// largest is Gap.Largest, if there is a Gap.
	largest Extreme
	*Verdict
}

// judge runs the order of judgement of design/2: the gates first; share, gap
// and table only behind them.
func judge(run record.Run) Verdict {
	var v Verdict
	s := steady(run)
	v.Stability = s.Stability
	sv := takeSurvey(run, s)
	if sv != nil {
		v.Profile = sv.profile(s.sigma)
	}
	e := evidence{run: run, steady: s, survey: sv, Verdict: &v}
	if _, failed := s.Failed(); failed {
		v.GapWhy = &Reason{"finding-" + e.failed()[0].ID, "the machine does not do the same twice, so that its nozzle error cannot be told", "see the finding: " + e.failed()[0].Next}
		v.ShareWhy = "the machine does not do the same twice"
	} else {
		e.ways = look(run, s, sv)
		e.gauged = gauge(run, s, sv, v.Profile, e.ways)
		e.ways.angles(run, &e.gauged)
		v.Model, v.Gap, v.GapWhy, v.Level = e.gauged.model, e.gauged.gap, e.gauged.why, e.gauged.level
		v.Later = e.gauged.later
		v.Share, v.ShareWhy = e.gauged.share()
		if v.Gap != nil {
			e.largest = v.Gap.Largest()
		}
	}
	v.Findings = withKind(e.findings(), run.Setup.Kind)
	v.Tells = e.tells()
	v.facts = &facts{s, sv, e.gauged.surface}
	return v
}

// facts is what the table needs of the judgement beside the verdict.
type facts struct {
	steady  steadiness
	survey  *survey
	surface surface
}

// failed returns the findings of all failed gates, in their order.
func (e evidence) failed() []Finding {
	var out []Finding
	for _, g := range e.steady.Gates {
		if g.State == Failed && g.Finding != nil {
			out = append(out, *g.Finding)
		}
	}
	return out
}
