package analysis

import (
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Verdict is everything that a run tells, each part absent where the run
// cannot tell it.
type Verdict struct {
	// Stability is whether the machine does the same twice.
	Stability steady.Stability `json:"stability"`
	// Profile is the survey taken apart into columns and rows; nil without one.
	Profile *steady.Profile `json:"profile"`
	// Share is how much of the map's non-linear left-right shape is lever
	// error: 0 real, 1 all of it; not clipped. Nil with ShareWhy.
	Share    *result.Measured `json:"share"`
	ShareWhy string           `json:"share_why,omitempty"`
	// Gap is the fitted gap error; nil with GapWhy.
	Gap    *Gap            `json:"-"`
	GapWhy *record.Problem `json:"gap_why,omitempty"`
	// Level is how far the person's Z offset is off, mm: + = too high.
	Level *result.Measured `json:"level"`
	// Model is how the gap error was fitted.
	Model Model `json:"model"`
	// Later is what became of the gaugings of later runs for this one, the earliest
	// first.
	Later []Later `json:"later,omitempty"`
	// Findings are the conclusions, the gravest first; at least one.
	Findings []result.Finding `json:"findings"`

	// Tells is what can be told, by which way of seeing, and what would tell
	// the rest.
	Tells []Tell `json:"tells"`

	facts *facts
	// undecided says what of the tolerance only more records decide; empty: nothing.
	undecided string
}

// Has reports whether the finding with this identifier was made.
func (v Verdict) Has(id string) bool {
	for _, f := range v.Findings {
		if f.ID == id {
			return true
		}
	}
	return false
}

// Judge returns what the run tells. It is pure and deterministic, takes any
// run (empty, partial, stopped, wild) and never panics on one.
func Judge(run record.Run) Verdict {
	return judge(steady.Clean(run))
}

// Judged is a run with its verdict.
type Judged struct {
	Run     record.Run
	Verdict Verdict
}

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
		v.GapWhy = &record.Problem{Code: "finding-" + e.failed()[0].ID, Text: "the machine does not repeat, so its nozzle error cannot be told", Hint: "see the finding: " + e.failed()[0].Next}
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
