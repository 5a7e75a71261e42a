package analysis

import (
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// evidence is what the findings are drawn from.
type evidence struct {
	run    record.Run
	steady steady.Steadiness
	survey *steady.Survey
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
	s := steady.Judge(run)
	v.Stability = s.Stability
	sv := steady.TakeSurvey(run, s)
	if sv != nil {
		v.Profile = sv.Profile(s.Sigma)
	}
	e := evidence{run: run, steady: s, survey: sv, Verdict: &v}
	if _, failed := s.Failed(); failed {
		v.GapWhy = &result.Reason{Code: "finding-" + e.failed()[0].ID, Text: "the machine does not do the same twice, so that its nozzle error cannot be told", Hint: "see the finding: " + e.failed()[0].Next}
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
	v.Findings = result.WithKind(e.findings(), run.Setup.Kind)
	v.Tells = e.tells()
	v.facts = &facts{s, sv, e.gauged.surface}
	return v
}

// facts is what the table needs of the judgement beside the verdict.
type facts struct {
	steady  steady.Steadiness
	survey  *steady.Survey
	surface surface
}

// failed returns the findings of all failed gates, in their order.
func (e evidence) failed() []result.Finding {
	var out []result.Finding
	for _, g := range e.steady.Gates {
		if g.State == steady.Failed && g.Finding != nil {
			out = append(out, *g.Finding)
		}
	}
	return out
}
