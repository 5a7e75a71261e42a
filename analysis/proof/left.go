package proof

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

// story is one account of what is left: its weight before anything was read, as a
// logarithm, and what it adds at a place, each term with a standard deviation of 1, mm.
type story struct {
	log   float64
	terms func(p record.Place) []float64
}

// degrees are those of the terms in t and s, from the zero place to the edge of the area;
// a bend has bends of a slope's standard deviation, and so on.
var degrees = [][2]int{{1, 0}, {0, 1}, {2, 0}, {1, 1}, {0, 2}, {3, 0}, {2, 1}, {1, 2}, {0, 3}}

const bends = 0.7

// Weights before anything was read: a correction that was worked out from readings,
// written and read back is right far more often than not. Sizes of a change, mm at the
// edge: a first layer shows it just or plainly. A bump is as large as a crumb under the plate
// makes it, as narrow as that or as wide as a bent corner. All chosen on simulated prints.
const (
	changed, otherFactor, bumped = 0.3, 0.02, 0.04

	kept      = 0.004 // of a machine that did not change
	bumpSize  = 0.08
	anyFactor = 1.2
)

var changes, bumpWidths = []float64{0.015, 0.04, 0.15}, []float64{30, 60}

// roughs are the patches' own standard deviations as factors of the usual one, with their
// weights: the plastic of one print lies better or worse than that of another.
var roughs = []struct{ factor, weight float64 }{{0.4, 0.15}, {0.7, 0.25}, {1, 0.35}, {1.35, 0.15}, {1.8, 0.1}}

// smooth are the terms that pass of a smooth change whose slope is size at the edge.
func (c Case) smooth(size float64, pass func(i, j int) bool) func(p record.Place) []float64 {
	ht, hs := 1.0, 1.0
	for _, p := range corners(c.Area) {
		ht, hs = math.Max(ht, math.Abs(p.U-c.ZeroU)), math.Max(hs, math.Abs(p.V-c.ZeroV))
	}
	return func(p record.Place) (out []float64) {
		t, s := (p.U-c.ZeroU)/ht, (p.V-c.ZeroV)/hs
		for _, d := range degrees {
			if i, j := float64(d[0]), float64(d[1]); pass(d[0], d[1]) {
				out = append(out, size*math.Pow(bends, i+j-1)*math.Pow(t, i)*math.Pow(s, j))
			}
		}
		return out
	}
}

func every(i, j int) bool { return true }

// stories are all that are weighed; bumps are where one may be.
func (c Case) stories(bumps []record.Place) []story {
	out := []story{
		{math.Log(1 - changed - otherFactor - bumped), func(record.Place) []float64 { return nil }},
		{math.Log(otherFactor), func(p record.Place) []float64 { return []float64{anyFactor * c.predicted(p.U, p.V)} }},
	}
	of := []func(i, j int) bool{
		func(i, j int) bool { return i+j == 1 }, func(i, j int) bool { return j == 0 }, func(i, j int) bool { return i == 0 },
		func(i, j int) bool { return i > 0 && j > 0 }, every,
	}
	for _, size := range changes {
		for _, f := range of {
			out = append(out, story{math.Log(changed / float64(len(changes)*len(of))), c.smooth(size, f)})
		}
	}
	for k := range len(bumps) * len(bumpWidths) {
		at, width := bumps[k%len(bumps)], bumpWidths[k/len(bumps)]
		bump := func(p record.Place) float64 {
			d := p.Distance(at) / width
			return bumpSize * math.Exp(-d*d/2)
		}
		out = append(out, story{math.Log(bumped / float64(len(bumps)*len(bumpWidths))), func(p record.Place) []float64 {
			return []float64{bump(p) - bump(record.Place{U: c.ZeroU, V: c.ZeroV})}
		}})
	}
	return out
}

// still is the covariance of what is left at places if nothing has changed, mm^2: what the
// run leaves in doubt, and what no machine keeps.
func (c Case) still(at []record.Place) *mat.SymDense {
	k := c.with(mat.NewSymDense(len(at), nil), at, c.smooth(kept, every), 1)
	for i, a := range at {
		for j := range i + 1 {
			if c.Between != nil {
				k.SetSym(i, j, k.At(i, j)+c.Between(a, at[j]))
			}
		}
	}
	return k
}

// with adds what the terms make of the covariance, weight times.
func (c Case) with(k *mat.SymDense, at []record.Place, terms func(p record.Place) []float64, weight float64) *mat.SymDense {
	out := mat.NewSymDense(len(at), nil)
	out.CopySym(k)
	columns := make([]*mat.VecDense, len(terms(at[0])))
	for j := range columns {
		columns[j] = mat.NewVecDense(len(at), nil)
	}
	for i, p := range at {
		for j, v := range terms(p) {
			columns[j].SetVec(i, v)
		}
	}
	for _, x := range columns {
		out.SymRankOne(out, weight, x)
	}
	return out
}

// levelU is the standard deviation of what all patches share, mm.
const levelU = 1.0

// mixture is what the patches leave of the errors at places: the patches first.
type mixture struct {
	shared float64 // the thickness at the zero place, mm
	parts  []part
}

// part is one story with one roughness, and its weight.
type part struct {
	weight float64
	mean   *mat.VecDense
	cov    *mat.SymDense
}

// least weight of a part that counts.
const least = 1e-4

func mix(c Case, ps []Patch, more []record.Place) (m mixture) {
	at, base, y := append(places(ps), more...), 0.0, mat.NewVecDense(len(ps), nil)
	for _, p := range ps {
		base += p.MM / float64(len(ps))
	}
	for i, p := range ps {
		y.SetVec(i, p.MM-base-c.expected(p.U, p.V))
	}
	var all []*told
	var logs []float64
	still := c.still(at)
	for _, s := range c.stories(apart(at)) {
		k := c.with(still, at, s.terms, 1)
		for _, r := range roughs {
			if t, ok := tell(k, y, ps, r.factor); ok {
				all, logs = append(all, t), append(logs, s.log+t.log+math.Log(r.weight))
			}
		}
	}
	m.shared = base
	for i, w := range softmax(logs) {
		m.shared += w * levelU * levelU * mat.Sum(all[i].x)
		if w < least {
			continue
		}
		p := all[i].part(w)
		for j, q := range at {
			p.mean.SetVec(j, p.mean.AtVec(j)+c.expected(q.U, q.V))
		}
		m.parts = append(m.parts, p)
	}
	return m
}

// told is a story K given the readings y of the patches: C = K + levelU^2 + noise,
// x = C^-1 y, log p = -(y'x + log|C|)/2 (Rasmussen, Williams, Gaussian Processes for
// Machine Learning, 2006, 2.2; from memory).
type told struct {
	k    *mat.SymDense
	chol mat.Cholesky
	x    *mat.VecDense
	log  float64
}

func tell(k *mat.SymDense, y *mat.VecDense, ps []Patch, rough float64) (*told, bool) {
	n := len(ps)
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			c.SetSym(i, j, k.At(i, j)+levelU*levelU)
		}
		c.SetSym(i, i, c.At(i, i)+math.Pow(rough*record.PatchU, 2)+math.Pow(ps[i].Reading, 2))
	}
	t := &told{k: k, x: mat.NewVecDense(n, nil)}
	if !t.chol.Factorize(c) || t.chol.SolveVecTo(t.x, y) != nil {
		return t, false
	}
	t.log = -(mat.Dot(t.x, y) + t.chol.LogDet()) / 2
	return t, true
}

// part is the mean K x and the covariance K - K C^-1 K at all places.
func (t *told) part(weight float64) part {
	n, all := t.x.Len(), t.k.SymmetricDim()
	b := mat.NewDense(n, all, nil)
	for i := range n {
		for j := range all {
			b.Set(i, j, t.k.At(i, j))
		}
	}
	out := part{weight, mat.NewVecDense(all, nil), mat.NewSymDense(all, nil)}
	out.mean.MulVec(b.T(), t.x)
	var solved, less mat.Dense
	_ = t.chol.SolveTo(&solved, b) // a bad condition was refused with x
	less.Mul(b.T(), &solved)
	for i := range all {
		for j := range i + 1 {
			out.cov.SetSym(i, j, t.k.At(i, j)-less.At(i, j))
		}
	}
	return out
}

// draws are how many machines are drawn from the mixture.
const draws = 1500

// beyond is how likely it is that more than the limit is left at one of the places.
func (m mixture) beyond(limit float64) float64 {
	rng := rand.New(rand.NewPCG(1, 2)) // the same answer for the same readings
	bad, all := 0.0, 0.0
	for _, p := range m.parts {
		n, count := p.mean.Len(), int(p.weight*draws+rng.Float64())
		for i := range n {
			p.cov.SetSym(i, i, p.cov.At(i, i)+1e-9) // for the rounding
		}
		var chol mat.Cholesky
		if count == 0 || !chol.Factorize(p.cov) {
			continue
		}
		var l mat.TriDense
		chol.LTo(&l)
		z, e := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
		for range count {
			for i := range n {
				z.SetVec(i, rng.NormFloat64())
			}
			e.MulVec(&l, z)
			e.AddVec(e, p.mean)
			all++
			if math.Max(mat.Max(e), -mat.Min(e)) > limit {
				bad++
			}
		}
	}
	if all == 0 {
		return 1
	}
	return bad / all
}

// of is the error at the place i, and its standard deviation.
func (m mixture) of(i int) (mean, sd float64) {
	weight, square := 0.0, 0.0
	for _, p := range m.parts {
		e := p.mean.AtVec(i)
		weight, mean, square = weight+p.weight, mean+p.weight*e, square+p.weight*(e*e+p.cov.At(i, i))
	}
	mean /= weight
	return mean, math.Sqrt(math.Max(square/weight-mean*mean, 0))
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

// apart leaves out places that lie beside another.
func apart(ps []record.Place) (out []record.Place) {
next:
	for _, p := range ps {
		for _, q := range out {
			if p.Distance(q) < beside {
				continue next
			}
		}
		out = append(out, p)
	}
	return out
}

func corners(r record.Rect) []record.Place {
	if !r.Valid() {
		return nil
	}
	return []record.Place{{U: r.X0, V: r.Y0}, {U: r.X1, V: r.Y0}, {U: r.X0, V: r.Y1}, {U: r.X1, V: r.Y1}}
}
