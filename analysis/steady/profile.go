package steady

import (
	"cmp"
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/analysis/result"
)

// Profile is the survey taken apart: height = mean + column + row +
// interaction. Lengths are mm.
type Profile struct {
	// Columns are the left-right effects, from the smallest X.
	Columns []Effect `json:"columns"`
	// Rows are the front-back effects, from the smallest Y.
	Rows []Effect `json:"rows"`
	// Size is the peak-to-valley of the non-linear column effect, with its doubt.
	Size result.Measured `json:"size"`
	// Noise is the standard deviation of one height about column + row.
	Noise result.Measured `json:"noise"`
	// Interaction is the share of the shape's variance (beyond scatter) that
	// is neither column nor row, 0..1.
	Interaction float64 `json:"interaction"`
	// F and P test the non-linear column effect against Noise.
	F float64 `json:"f"`
	P float64 `json:"p"`
	// Significant says that the effect stands above its noise.
	Significant bool `json:"significant"`
	// Agreement is the correlation of Front and Back, -1..1.
	Agreement float64 `json:"agreement"`
	// Touches is how many touches tell it; Outliers were set aside.
	Touches  int   `json:"touches"`
	Outliers []Odd `json:"outliers"`
}

// Effect is one column or row of a Profile.
type Effect struct {
	// At is its place along the axis.
	At float64 `json:"at"`
	// Effect is its mean height less the mean of all.
	Effect float64 `json:"effect"`
	// Bend is Effect less the straight line through all.
	Bend float64 `json:"bend"`
	// U is the standard uncertainty of Effect.
	U float64 `json:"u"`
	// Front and Back are the bends in the front and the back half of the bed
	// (columns only).
	Front float64 `json:"front"`
	Back  float64 `json:"back"`
	N     int     `json:"n"`
}

// significance is the level at which the profile counts as above its noise.
const significance = 0.01

// Profile returns the two-way decomposition; sigma is the scatter of a touch.
// Front and back halves are decomposed each for itself: where they agree, the
// left-right shape repeats from front to back.
func (v *Survey) Profile(sigma float64) *Profile {
	p := &Profile{Touches: len(v.Touches), Outliers: v.odd}
	ss := 0.0
	for _, e := range v.rest {
		ss += e * e
	}
	dof := math.Max(float64(len(v.rest)-len(v.columns)-len(v.rows)+1), 1)
	noise := math.Max(math.Sqrt(ss/dof), 1e-5)
	p.Noise = result.Deviation(noise, dof, "mm")
	p.Columns = Effects(v.columns, v.colEff, v.nCol, noise)
	p.Rows = Effects(v.rows, v.rowEff, v.nRow, noise)
	p.Interaction = v.interaction(ss, dof, sigma)
	p.test(noise, dof)
	p.halves(v)
	return p
}

func Effects(at, eff []float64, n []int, noise float64) []Effect {
	bend := straightened(at, eff)
	out := make([]Effect, len(at))
	for i := range at {
		out[i] = Effect{At: at[i], Effect: eff[i], Bend: bend[i], U: noise / math.Sqrt(float64(max(n[i], 1))), N: n[i]}
	}
	return out
}

// straightened returns y less its straight line over x; y itself for fewer
// than two places.
func straightened(x, y []float64) []float64 {
	rows := make([][]float64, len(x))
	for i := range x {
		rows[i] = []float64{1, x[i] - x[0]}
	}
	r, err := fit.Least(rows, y, nil)
	if err != nil || r.Rank < 2 {
		return slices.Clone(y)
	}
	return r.Residuals
}

func (v *Survey) interaction(ss, dof, sigma float64) float64 {
	left := math.Max(ss-dof*sigma*sigma, 0)
	all := left
	for i, e := range v.colEff {
		all += float64(v.nCol[i]) * e * e
	}
	for i, e := range v.rowEff {
		all += float64(v.nRow[i]) * e * e
	}
	if all <= 0 {
		return 0
	}
	return left / all
}

// test compares the bend of the columns with the noise by F.
func (p *Profile) test(noise, dof float64) {
	ss, lo, hi := 0.0, 0, 0
	for i, c := range p.Columns {
		ss += float64(c.N) * c.Bend * c.Bend
		if c.Bend < p.Columns[lo].Bend {
			lo = i
		}
		if c.Bend > p.Columns[hi].Bend {
			hi = i
		}
	}
	df := float64(len(p.Columns) - 2)
	p.F = ss / df / (noise * noise)
	p.P = fit.FTail(p.F, df, dof)
	p.Significant = p.P < significance
	a, b := p.Columns[lo], p.Columns[hi]
	p.Size = result.Of(b.Bend-a.Bend, math.Hypot(a.U, b.U), dof, "mm")
}

func (p *Profile) halves(v *Survey) {
	front, nf := make([]float64, len(v.columns)), make([]float64, len(v.columns))
	back, nb := make([]float64, len(v.columns)), make([]float64, len(v.columns))
	for i := range v.Touches {
		c := v.col[i]
		switch e := v.rest[i] + v.colEff[c]; {
		case 2*v.row[i] < len(v.rows)-1:
			front[c], nf[c] = front[c]+e, nf[c]+1
		case 2*v.row[i] > len(v.rows)-1:
			back[c], nb[c] = back[c]+e, nb[c]+1
		}
	}
	for c := range v.columns {
		front[c] /= math.Max(nf[c], 1)
		back[c] /= math.Max(nb[c], 1)
	}
	front, back = straightened(v.columns, front), straightened(v.columns, back)
	var fb, ff, bb float64
	for c := range v.columns {
		p.Columns[c].Front, p.Columns[c].Back = front[c], back[c]
		fb, ff, bb = fb+front[c]*back[c], ff+front[c]*front[c], bb+back[c]*back[c]
	}
	if ff > 0 && bb > 0 {
		p.Agreement = fb / math.Sqrt(ff*bb)
	}
}

// Rest is what the columns show beyond a polynomial of the degree that the model's
// motions have, linear between them, and its peak to valley, mm; nil where it is not
// above the noise (F at 1 %).
func (p *Profile) Rest() (of func(u float64) float64, size float64) {
	if p == nil || len(p.Columns) < model.Degree+4 {
		return nil, 0
	}
	cs := p.Columns
	lo, hi := cs[0].At, cs[len(cs)-1].At
	rows, y, w := make([][]float64, len(cs)), make([]float64, len(cs)), make([]float64, len(cs))
	for i, c := range cs {
		rows[i] = model.Legendres(c.At, lo, hi, model.Degree)
		y[i], w[i] = c.Effect, float64(c.N)
	}
	r, err := fit.Least(rows, y, w)
	if err != nil || r.DoF < 2 || fit.FTail(r.RSS/r.DoF/(p.Noise.Value*p.Noise.Value), r.DoF, p.Noise.DoF) >= significance {
		return nil, 0
	}
	e := r.Residuals
	return func(u float64) float64 {
		i, _ := slices.BinarySearchFunc(cs, u, func(e Effect, u float64) int { return cmp.Compare(e.At, u) })
		if i == 0 || i == len(cs) {
			return e[min(i, len(cs)-1)]
		}
		k := (u - cs[i-1].At) / (cs[i].At - cs[i-1].At)
		return e[i-1] + k*(e[i]-e[i-1])
	}, slices.Max(e) - slices.Min(e)
}
