package steady

import (
	"fmt"
	"math"

	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// Steady judges the gates from the repeat test and, where they are there, the
// survey's returns to the base point.
func Steady(run record.Run) Stability { return Judge(Clean(run)).Stability }

// Judge measures the stability and judges its gates.
func Judge(run record.Run) Steadiness {
	var s Steadiness
	s.repeatTest(run)
	s.wander(run)
	s.returns(run)
	s.ride(run)
	c := run.Setup.Criteria
	s.Gates = []Gate{
		s.scatterGate(c),
		s.driftGate(c),
		s.playGate(c),
		s.wanderGate(c),
	}
	if s.Ride != nil && s.Ride.worn {
		// Flats also scatter the returns and the repeats: the cause is named first.
		s.Gates = append(s.Gates[3:4:4], s.Gates[:3]...)
	}
	return s
}

// Unmeasured lists the gates that the run could not decide.
func (s Stability) Unmeasured() []string {
	var out []string
	for _, g := range s.Gates {
		if g.State == NotMeasured {
			out = append(out, g.ID)
		}
	}
	return out
}

func gate(id string, measured, failed bool, f func() result.Finding) Gate {
	switch {
	case !measured:
		return Gate{ID: id, State: NotMeasured}
	case !failed:
		return Gate{ID: id, State: Passed}
	}
	found := f()
	return Gate{ID: id, State: Failed, Finding: &found}
}

// scatterGate fails for a scatter above the criterion, at one place or between
// neighbours within the passes (five times as many touches), and for four outliers
// or more that are a tenth of the touches or more, those of the passes included: a
// probe that is wild so often cannot be told from a bed.
func (s Steadiness) scatterGate(c record.Criteria) Gate {
	odd := 0
	for _, o := range s.Outliers {
		if math.Abs(o.Off) > 2*c.Scatter {
			odd++
		}
	}
	all := s.Touches + s.returned + odd
	for _, o := range s.Strays {
		if math.Abs(o.Off) > 2*c.Scatter {
			odd++
		}
	}
	wild := odd >= 4 && 10*odd >= all+s.passed
	rough := s.Wander != nil && s.Wander.Noise > c.Scatter
	failed := s.Scatter != nil && (s.Scatter.Value > c.Scatter || wild || rough)
	return gate(result.ProbeNotRepeatable, s.Scatter != nil, failed, func() result.Finding {
		f := result.Finding{
			ID:       result.ProbeNotRepeatable,
			Sentence: "The probe does not repeat. No correction is possible.",
			Evidence: fmt.Sprintf("%d touches of one point scatter by %s (standard deviation without drift and play). The limit is %s.",
				s.Touches, say.Fine(s.Scatter.Value), say.Fine(c.Scatter)),
			Doubt: fmt.Sprintf("The scatter is between %s and %s (95 %%).", say.Fine(s.Scatter.Lo95), say.Fine(s.Scatter.Hi95)),
			Next: "Clean nozzle and probe. Check that probe, mount and cable are tight, and that the head does not rock. " +
				"Follow the maker's instructions for the probe, then measure again.",
		}
		if wild {
			f.Evidence += fmt.Sprintf(" %d touches are far from the others.", odd)
		}
		if rough {
			f.Evidence += fmt.Sprintf(" In the passes over one row neighbouring touches scatter by %s.", say.Fine(s.Wander.Noise))
		}
		return f
	})
}

// driftGate fails for a drift faster than can be removed, by more than its
// doubt, and for one that removing leaves too uncertain. The repeat test is
// short; where the passes over the row, which come after it, show that the
// drift has slowed down, that counts. (The passes alone prove nothing: a
// constant between them is no drift.)
func (s Steadiness) driftGate(c record.Criteria) Gate {
	bad := func(d *Drift) bool {
		if d == nil || d.Rate == nil {
			return false
		}
		// A rate over a test of seconds is noise writ large: what moved must be
		// worth a word too. And what hurts is what moves between two touches: a
		// machine that touches faster than usual may drift faster in a minute.
		fast := s.pace*(math.Abs(d.Rate.Value)-d.Rate.U95()) > c.DriftRate &&
			d.Total != nil && math.Abs(d.Total.Value) > c.DriftSaid
		if d.From == "repeat" && s.passRate != nil {
			fast = fast && s.pace*(math.Abs(s.passRate.Value)-s.passRate.U95()) > c.DriftRate
		}
		return fast || d.Left > c.DriftLeft && d.Kind == Irregular || d.Removed && d.Left > c.DriftLeft
	}
	worst := s.Drift
	if bad(s.Survey) {
		worst = s.Survey
	}
	return gate(result.DriftFound, s.Drift != nil || s.Survey != nil, bad(worst), func() result.Finding {
		return driftFailed(worst, c)
	})
}

func driftFailed(d *Drift, c record.Criteria) result.Finding {
	f := result.Finding{ID: result.DriftFound}
	if d.Left > c.DriftLeft {
		f.Sentence = "The heights move irregularly with time. No correction is possible."
		f.Evidence = fmt.Sprintf("Beside its scatter the height of one point moves by %s (standard deviation). The limit is %s.", say.Fine(d.Left), say.Fine(c.DriftLeft))
		f.Doubt = "Temperature, a loose part and a belt that settles look alike."
	} else {
		f.Sentence = "The heights drift too fast. No correction is possible."
		f.Evidence = fmt.Sprintf("One point still drifts by %s per minute at the end of the test. abbed can take out %s.", say.Fine(d.Rate.Value), say.Fine(c.DriftRate))
		f.Doubt = fmt.Sprintf("The drift is between %s and %s per minute (95 %%).", say.Fine(d.Rate.Lo95), say.Fine(d.Rate.Hi95))
	}
	f.Next = "Heat as for a print and wait until the temperature is steady. Check for loose parts, then measure again."
	return f
}

// Play returns the axis, X or Y, along which the reversal value is largest of those that
// are above the criterion and beyond their doubt, and that value; nil for none.
func (s Stability) Play(c record.Criteria) (axis string, worst *result.Measured) {
	for _, p := range []struct {
		axis string
		b    *result.Measured
	}{{"X", s.PlayX}, {"Y", s.PlayY}} {
		if p.b != nil && p.b.Apart() && math.Abs(p.b.Value) > c.Play && (worst == nil || math.Abs(p.b.Value) > math.Abs(worst.Value)) {
			axis, worst = p.axis, p.b
		}
	}
	return axis, worst
}

// playGate fails where there is play.
func (s Stability) playGate(c record.Criteria) Gate {
	axis, worst := s.Play(c)
	return gate(result.LooseCarriage, s.PlayX != nil || s.PlayY != nil, worst != nil, func() result.Finding {
		return result.Finding{
			ID:       result.LooseCarriage,
			Sentence: "The carriage has play. No correction is possible.",
			Evidence: fmt.Sprintf("Along %s the sides of approach differ by %s (reversal value, ISO 230-2). The limit is %s.", axis, say.Fine(math.Abs(worst.Value)), say.Fine(c.Play)),
			Doubt:    fmt.Sprintf("The difference is between %s and %s (95 %%).", say.Fine(worst.Lo95), say.Fine(worst.Hi95)),
			Next:     "Switch off, unplug and let the printer cool. Tighten what is loose, then measure again.",
		}
	})
}

// wanderGate fails where passes over one row differ beyond scatter; see
// steadiness.wander.
func (s Stability) wanderGate(c record.Criteria) Gate {
	w := s.Wander
	return gate(result.WornWheels, w != nil, w != nil && w.fired, func() result.Finding {
		f := result.Finding{
			ID:       result.WornWheels,
			Sentence: "The wheels do not run true: they are worn, flat or dirty. No correction is possible.",
			Doubt:    "Loose rails or an uneven belt look the same.",
			Next:     "Switch off, unplug and let the printer cool. Clean or replace the wheels, then measure again.",
		}
		f.Evidence = fmt.Sprintf("Over %d passes one point differs by %s (standard deviation without scatter, limit %s).",
			w.Passes, say.Fine(w.Between.Value), say.Fine(c.Wander))
		if w.Places > 0 {
			f.Evidence += fmt.Sprintf(" At %d points one pass differs, by up to %s (standard deviation between passes).", w.Places, say.Fine(w.Local))
		}
		if s.Ride != nil && s.Ride.worn {
			f.Evidence += " " + s.Ride.Says
		}
		f.Doubt = fmt.Sprintf("Scatter alone does so with a probability of %.1g. ", w.P) + f.Doubt
		return f
	})
}
