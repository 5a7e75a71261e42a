package analysis

import (
	"math"
	"slices"

	"abbed/analysis/fit"

	"gonum.org/v1/gonum/interp"
)

// frontBend is the survey's front-back shape, its straight line taken out:
// a natural cubic spline through the rows, which are few, and its uncertainty.
type frontBend struct {
	lo, hi float64
	spline interp.NaturalCubic
	u      float64
}

// takeFront sets the front-back bend where it stands above its noise (F at 1 %).
func (p *Profile) takeFront(noise, dof float64) {
	if len(p.Rows) < 4 {
		return
	}
	var ss, u float64
	at, bend := make([]float64, len(p.Rows)), make([]float64, len(p.Rows))
	for i, r := range p.Rows {
		at[i], bend[i] = r.At, r.Bend
		ss += float64(r.N) * r.Bend * r.Bend
		u = math.Max(u, r.U)
	}
	df := float64(len(p.Rows) - 2)
	if fit.FTail(ss/df/(noise*noise), df, dof) >= significance {
		return
	}
	f := &frontBend{lo: at[0], hi: at[len(at)-1], u: u}
	if f.spline.Fit(at, bend) == nil {
		p.front, p.sizeY = f, slices.Max(bend)-slices.Min(bend)
	}
}

// bendY returns the front-back bend at v, constant beyond the rows, and its
// standard uncertainty. nil gives 0, 0.
func (p *Profile) bendY(v float64) (h, u float64) {
	if p == nil || p.front == nil {
		return 0, 0
	}
	f := p.front
	return f.spline.Predict(max(f.lo, min(v, f.hi))), f.u
}
