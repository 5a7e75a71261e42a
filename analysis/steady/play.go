package steady

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/probe/record"
)

// plays sets the reversal values from the sides' coefficients of the repeat
// test, and the repeatability of ISO 230-2 along X.
func (s *Steadiness) plays(f timed, kept []record.Touch) {
	i := 1
	take := func(side func(record.Touch) int8, axis int) *result.Measured {
		if !bothSides(kept, side) || i >= f.terms {
			return nil
		}
		m := result.Of(f.Coef[i], f.U(i, s.Sigma), f.DoF, "mm")
		i++
		if m.Apart() {
			s.play[axis] = m.Value
		}
		return &m
	}
	s.PlayX = take(sideX, 0)
	s.PlayY = take(sideY, 1)
	if s.PlayX != nil {
		s.repeatability(f, kept)
	}
}

// repeatability sets R of ISO 230-2 along X, of the heights without drift and
// without what the side along Y does.
func (s *Steadiness) repeatability(f timed, kept []record.Touch) {
	var up, down []float64
	for i, t := range kept {
		switch t.Side.X {
		case -1:
			up = append(up, f.Residuals[i]+s.PlayX.Value/2)
		case 1:
			down = append(down, f.Residuals[i]-s.PlayX.Value/2)
		}
	}
	r := fit.Reversal(up, down)
	dof := float64(len(up) + len(down) - 2)
	m := result.Of(r.R, r.R/math.Sqrt(2*dof), dof, "mm")
	s.Repeatability = &m
}
