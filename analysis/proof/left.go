package proof

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

// story is one account of what is left: the standard deviations of its coefficients.
type story struct {
	log    float64                // of its weight before anything was read
	smooth func(i, j int) float64 // of the term t^i s^j, mm
	factor float64                // of the factor by which the predicted gap error is left
	bump   int                    // the patch that is off alone, -1 for none
}

// degrees are those of the terms in t and s, from the zero place to the edge of the area;
// a bend has bends of a slope's standard deviation, and so on.
var degrees = [][2]int{{1, 0}, {0, 1}, {2, 0}, {1, 1}, {0, 2}, {3, 0}, {2, 1}, {1, 2}, {0, 3}}

const bends = 0.7

func sized(u float64) func(i, j int) float64 {
	return func(i, j int) float64 { return u * math.Pow(bends, float64(i+j-1)) }
}

// only keeps the terms that pass.
func only(u float64, pass func(i, j int) bool) func(i, j int) float64 {
	return func(i, j int) float64 {
		if !pass(i, j) {
			return 0
		}
		return sized(u)(i, j)
	}
}

// Weights before anything was read: a correction that was worked out from readings,
// written and read back is right far more often than not. Sizes of a change: a first
// layer shows it just or plainly. A bump is as large as a crumb under the plate makes
// it. All chosen on simulated prints.
const (
	changed, otherFactor, bumped = 0.15, 0.02, 0.01

	bumpSize  = 0.12
	anyFactor = 1.2
)

var changes = []float64{0.04, 0.15}

// stories are all that are weighed; u is the doubt of the run itself.
func stories(u float64, patches int) []story {
	out := []story{{math.Log(1 - changed - otherFactor - bumped), sized(u), 0, -1}, {math.Log(otherFactor), sized(u), anyFactor, -1}}
	of := []func(i, j int) bool{
		func(i, j int) bool { return i+j == 1 }, func(i, j int) bool { return j == 0 }, func(i, j int) bool { return i == 0 },
		func(i, j int) bool { return i > 0 && j > 0 }, func(i, j int) bool { return true },
	}
	for _, size := range changes {
		for _, f := range of {
			out = append(out, story{math.Log(changed / float64(len(changes)*len(of))), func(i, j int) float64 { return math.Hypot(sized(u)(i, j), only(size, f)(i, j)) }, 0, -1})
		}
	}
	for i := range patches {
		out = append(out, story{math.Log(bumped / float64(patches)), sized(u), 0, i})
	}
	return out
}

// roughs are factors of the patches' own doubt, with their weights: a plastic that lies
// badly is rougher than usual.
var roughs = []struct{ factor, weight float64 }{{1, 0.97}, {1.6, 0.03}}

// level is the coefficient of what all patches share, and its standard deviation.
const (
	level  = 0
	levelU = 1.0
)

// mixture is what the patches leave of what is left.
type mixture struct {
	c      Case
	ps     []Patch
	ht, hs float64
	weight []float64
	parts  []part
}

// part is one story with one roughness: mean and factor of its precision, whitened.
type part struct {
	story
	mean *mat.VecDense
	chol mat.Cholesky
}

func mix(c Case, ps []Patch, predictedU float64) mixture {
	m := mixture{c: c, ps: ps, ht: 1, hs: 1}
	for _, p := range append(corners(c.Area), places(ps)...) {
		m.ht, m.hs = math.Max(m.ht, math.Abs(p.U-c.ZeroU)), math.Max(m.hs, math.Abs(p.V-c.ZeroV))
	}
	var logs []float64
	for _, s := range stories(predictedU, len(ps)) {
		for _, r := range roughs {
			if p, log, ok := m.tell(s, r.factor); ok {
				m.parts, logs = append(m.parts, p), append(logs, log+math.Log(r.weight))
			}
		}
	}
	m.weight = softmax(logs)
	return m
}

// row is the whitened row of a place: what all share first. own is the patch that
// stands there, -1 for none.
func (m mixture) row(s story, u, v float64, own int) []float64 {
	t, y := (u-m.c.ZeroU)/m.ht, (v-m.c.ZeroV)/m.hs
	out := make([]float64, 1, len(degrees)+3)
	for _, d := range degrees {
		out = append(out, s.smooth(d[0], d[1])*math.Pow(t, float64(d[0]))*math.Pow(y, float64(d[1])))
	}
	out = append(out, s.factor*m.c.predicted(u, v))
	bump := 0.0
	if own >= 0 && own == s.bump {
		bump = bumpSize
	}
	return append(out, bump)
}

// tell weighs a story: A = X'WX + 1 over the whitened unknowns, b = X'Wy, mean A^-1 b,
// log p = (b'A^-1 b - y'Wy - log|A| + log|W|) / 2 (Rasmussen, Williams, Gaussian
// Processes for Machine Learning, 2006, 2.1; from memory).
func (m mixture) tell(s story, rough float64) (part, float64, bool) {
	n := len(degrees) + 3
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	log := s.log
	for i := range n {
		a.SetSym(i, i, 1)
	}
	base := mean(m.ps)
	for i, p := range m.ps {
		x := mat.NewVecDense(n, m.row(s, p.U, p.V, i))
		x.SetVec(level, levelU)
		w, y := 1/(rough*rough*p.Doubt*p.Doubt), p.MM-base-m.c.expected(p.U, p.V)
		a.SymRankOne(a, w, x)
		b.AddScaledVec(b, w*y, x)
		log += (math.Log(w) - w*y*y) / 2
	}
	out := part{story: s, mean: mat.NewVecDense(n, nil)}
	if !out.chol.Factorize(a) || out.chol.SolveVecTo(out.mean, b) != nil {
		return out, 0, false
	}
	return out, log + (mat.Dot(b, out.mean)-out.chol.LogDet())/2, true
}

// draws are how many machines are drawn from the mixture.
const draws = 1500

// drawn are draws of what is left at places, mm; own says which patch stands there.
func (m mixture) drawn(at []record.Place, own []int) [][]float64 {
	rng := rand.New(rand.NewPCG(1, 2)) // the same answer for the same readings
	out := make([][]float64, 0, draws)
	for k, p := range m.parts {
		count := int(m.weight[k]*draws + rng.Float64())
		if count == 0 {
			continue
		}
		n := p.mean.Len()
		rows := make([]*mat.VecDense, len(at))
		for i, q := range at {
			rows[i] = mat.NewVecDense(n, m.row(p.story, q.U, q.V, own[i]))
		}
		var u mat.TriDense
		p.chol.UTo(&u)
		z, c := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
		for range count {
			for i := range n {
				z.SetVec(i, rng.NormFloat64())
			}
			// A = U'U: U^-1 z has the covariance A^-1.
			if c.SolveVec(&u, z) != nil {
				continue
			}
			c.AddVec(c, p.mean)
			e := make([]float64, len(at))
			for i := range at {
				e[i] = mat.Dot(rows[i], c) + m.c.expected(at[i].U, at[i].V)
			}
			out = append(out, e)
		}
	}
	return out
}

// shared is what all patches share: how thick one at the zero place would be, mm.
func (m mixture) shared() (v float64) {
	for k, p := range m.parts {
		v += m.weight[k] * p.mean.AtVec(level) * levelU
	}
	return v + mean(m.ps)
}

func mean(ps []Patch) (v float64) {
	for _, p := range ps {
		v += p.MM / float64(len(ps))
	}
	return v
}

func softmax(logs []float64) []float64 {
	top, sum := math.Inf(-1), 0.0
	for _, l := range logs {
		top = math.Max(top, l)
	}
	out := make([]float64, len(logs))
	for i, l := range logs {
		out[i] = math.Exp(l - top)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

func places(ps []Patch) (out []record.Place) {
	for _, p := range ps {
		out = append(out, record.Place{U: p.U, V: p.V})
	}
	return out
}

func corners(r record.Rect) []record.Place {
	if !r.Valid() {
		return nil
	}
	return []record.Place{{U: r.X0, V: r.Y0}, {U: r.X1, V: r.Y0}, {U: r.X0, V: r.Y1}, {U: r.X1, V: r.Y1}}
}
