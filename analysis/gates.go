package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/workshop"
	"abbed/probe/record"
)

// steady measures the stability and judges its gates.
func steady(run record.Run) steadiness {
	var s steadiness
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

// unmeasured lists the gates that the run could not decide.
func (s Stability) unmeasured() []string {
	var out []string
	for _, g := range s.Gates {
		if g.State == NotMeasured {
			out = append(out, g.ID)
		}
	}
	return out
}

func gate(id string, measured, failed bool, f func() Finding) Gate {
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
func (s steadiness) scatterGate(c record.Criteria) Gate {
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
	return gate(ProbeNotRepeatable, s.Scatter != nil, failed, func() Finding {
		f := Finding{
			ID:       ProbeNotRepeatable,
			Sentence: "The probe does not give the same height twice, so nothing finer can be seen with it. No correction is offered.",
			Evidence: fmt.Sprintf("%d touches at one place scatter by %s (standard deviation) with drift and side of approach taken out; the limit is %s.",
				s.Touches, um(s.Scatter.Value), um(c.Scatter)),
			Doubt: fmt.Sprintf("The scatter lies between %s and %s (95 %%).", um(s.Scatter.Lo95), um(s.Scatter.Hi95)),
			Next: "Clean the nozzle and the probe, check that the probe, its mount and its cable are tight, and that the head does not rock; " +
				"then run the repeat test again. Follow the maker's instructions for the probe.",
		}
		if wild {
			f.Evidence += fmt.Sprintf(" %d touches lie far off the others.", odd)
		}
		if rough {
			f.Evidence += fmt.Sprintf(" Within the passes over one row neighbouring touches scatter by %s.", um(s.Wander.Noise))
		}
		return f
	})
}

// driftGate fails for a drift faster than can be removed, by more than its
// doubt, and for one that removing leaves too uncertain. The repeat test is
// short; where the passes over the row, which come after it, show that the
// drift has slowed down, that counts. (The passes alone prove nothing: a
// constant between them is no drift.)
func (s steadiness) driftGate(c record.Criteria) Gate {
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
		return fast || d.Left > c.DriftLeft && d.Kind == irregular || d.Removed && d.Left > c.DriftLeft
	}
	worst := s.Drift
	if bad(s.survey) {
		worst = s.survey
	}
	return gate(DriftFound, s.Drift != nil || s.survey != nil, bad(worst), func() Finding {
		return driftFailed(worst, c)
	})
}

func driftFailed(d *Drift, c record.Criteria) Finding {
	f := Finding{ID: DriftFound}
	if d.Kind == irregular {
		f.Sentence = "The heights move up and down with time in no regular way, so that they cannot be set right. No correction is offered."
		f.Evidence = fmt.Sprintf("Beside scatter the height of one place moves by %s (standard deviation); at most %s may be left.", um(d.Left), um(c.DriftLeft))
		f.Doubt = "What moves it, this test cannot say: temperature, a loose part and a belt that settles look alike."
	} else {
		f.Sentence = "The heights drift faster than can be set right. No correction is offered."
		f.Evidence = fmt.Sprintf("The height of one place drifts by %s per minute at the end of the test; up to %s can be removed.", um(d.Rate.Value), um(c.DriftRate))
		f.Doubt = fmt.Sprintf("The drift lies between %s and %s per minute (95 %%).", um(d.Rate.Lo95), um(d.Rate.Hi95))
	}
	f.Next = "Let bed, frame and head come to a steady temperature (wait, with the heat that you print with), check for loose parts, and run the repeat test again."
	return f
}

// playGate fails for a reversal value above the criterion and beyond its doubt.
func (s Stability) playGate(c record.Criteria) Gate {
	axis, worst := "", (*Measured)(nil)
	for _, p := range []struct {
		axis string
		b    *Measured
	}{{"X", s.PlayX}, {"Y", s.PlayY}} {
		if p.b != nil && p.b.Apart() && math.Abs(p.b.Value) > c.Play && (worst == nil || math.Abs(p.b.Value) > math.Abs(worst.Value)) {
			axis, worst = p.axis, p.b
		}
	}
	return gate(LooseCarriage, s.PlayX != nil || s.PlayY != nil, worst != nil, func() Finding {
		return Finding{
			ID:       LooseCarriage,
			Sentence: "The carriage has play: the height depends on the side from which the head comes. No correction is offered.",
			Evidence: fmt.Sprintf("Along %s the two sides of approach differ by %s (reversal value B of ISO 230-2); the limit is %s.", axis, um(math.Abs(worst.Value)), um(c.Play)),
			Doubt:    fmt.Sprintf("The difference lies between %s and %s (95 %%).", um(worst.Lo95), um(worst.Hi95)),
			Next:     workshop.Play(axis).Says(),
		}
	})
}

// wanderGate fails where passes over one row differ beyond scatter; see
// steadiness.wander.
func (s Stability) wanderGate(c record.Criteria) Gate {
	w := s.Wander
	return gate(WornWheels, w != nil, w != nil && w.fired, func() Finding {
		f := Finding{
			ID:       WornWheels,
			Sentence: "The head does not take the same way twice: passes over the same row differ. This is what worn, flat or dirty wheels do; a correction would be wrong the next time. No correction is offered.",
			Doubt:    "Loose rails or a belt that pulls unevenly can look the same.",
			Next:     workshop.Wheels().Says(),
		}
		f.Evidence = fmt.Sprintf("Over %d passes the height at one place differs by %s (standard deviation, scatter taken out; limit %s).",
			w.Passes, um(w.Between.Value), um(c.Wander))
		if w.Places > 0 {
			f.Evidence += fmt.Sprintf(" At %d places a few mm wide one pass stands out, by up to %s (standard deviation between passes).", w.Places, um(w.Local))
		}
		if s.Ride != nil && s.Ride.worn {
			f.Evidence += " " + s.Ride.Says()
		}
		f.Doubt = fmt.Sprintf("Scatter alone would do so with a probability of %.1g. ", w.P) + f.Doubt
		return f
	})
}
