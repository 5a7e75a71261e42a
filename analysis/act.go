package analysis

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"abbed/analysis/result"
	"abbed/probe/record"
)

// Ahead draws machines as the posterior has them, so that what an act would do to the
// largest gap error over the gauged area is told with its doubt. A largest value has no
// row of its own: its mean is not the largest mean.
type Ahead struct {
	gap *Gap
	at  []record.Place
	// drawn are the gap errors at the places, one slice for each machine.
	drawn [][]float64
}

// machines are drawn; side is the number of places along each side of the area.
const (
	machines = 1000
	side     = 9
)

// Ahead returns the draws, the same ones each time; nil for no Gap.
func (g *Gap) Ahead() *Ahead {
	if g == nil {
		return nil
	}
	a := &Ahead{gap: g, at: Lattice(g.Area, side, side)}
	mean, root := a.posterior()
	rng := rand.New(rand.NewPCG(19, 95))
	z := make([]float64, len(a.at)+1)
	for range machines {
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		e := slices.Clone(mean)
		for i := range e {
			for j := range a.at {
				e[i] += root.At(i, j) * z[j]
			}
			if a.at[i].Distance(g.Zero) > 1 {
				e[i] += math.Sqrt(g.surface.blades) * z[len(a.at)]
			}
		}
		a.drawn = append(a.drawn, e)
	}
	return a
}

// posterior returns the mean at the places, and a root of the covariance: the eigenvectors
// times the roots of the eigenvalues, since there are more places than unknowns.
func (a *Ahead) posterior() ([]float64, *mat.Dense) {
	n, s := len(a.at), a.gap.surface
	mean, root, cov := make([]float64, n), mat.NewDense(n, n, nil), mat.NewSymDense(n, nil)
	if s.post == nil {
		for i := range n {
			root.Set(i, i, s.fixed/result.Z95)
		}
		return mean, root
	}
	for i := range n {
		mean[i], _ = s.contrast(a.at[i], a.gap.Zero)
		for j := range i + 1 {
			cov.SetSym(i, j, a.gap.Between(a.at[i], a.at[j]))
		}
	}
	var e mat.EigenSym
	if e.Factorize(cov, true) {
		var v mat.Dense
		e.VectorsTo(&v)
		values := e.Values(nil)
		root.Apply(func(_, j int, x float64) float64 { return x * math.Sqrt(math.Max(values[j], 0)) }, &v)
	}
	return mean, root
}

// Slope is an act that adds k mm per mm to the gap error along X, from the zero place on,
// good to the share U of it (a standard uncertainty): the head made to roll more or less,
// evenly along the beam. The zero value is no act.
type Slope struct{ K, U float64 }

// Largest returns the largest size of the gap error after an act, with its doubt. At
// least as large is what any one place is known to have: the drawn ones cannot tell, since
// the largest of many doubts is never near zero. At most: 98 % of the machines drawn,
// since between the places there may be more.
func (a *Ahead) Largest(act Slope) Measured {
	all := a.largest(act)
	slices.Sort(all)
	at := func(q float64) float64 { return all[int(q*float64(len(all)-1))] }
	m := Measured{Value: at(0.5), Hi95: at(0.98), Unit: "mm", DoF: math.Inf(1)}
	for j := range a.at {
		k := act.K * (a.at[j].U - a.gap.Zero.U)
		mean, square := 0.0, 0.0
		for _, e := range a.drawn {
			mean += (e[j] + k) / float64(len(a.drawn))
			square += (e[j] + k) * (e[j] + k) / float64(len(a.drawn))
		}
		u := math.Sqrt(math.Max(square-mean*mean, 0) + k*act.U*k*act.U)
		m.Lo95 = math.Max(m.Lo95, math.Abs(mean)-result.Z95*u)
	}
	m.U = (m.Hi95 - m.Lo95) / 2 / result.Z95
	return m
}

func (a *Ahead) largest(act Slope) []float64 {
	rng := rand.New(rand.NewPCG(20, 95))
	out := make([]float64, len(a.drawn))
	for i, e := range a.drawn {
		k := act.K * (1 + act.U*rng.NormFloat64())
		for j, v := range e {
			out[i] = math.Max(out[i], math.Abs(v+k*(a.at[j].U-a.gap.Zero.U)))
		}
	}
	return out
}

// Even returns the slope that leaves the least, and whether the act is known to help: in
// 975 of 1,000 machines less is left, and half of them gain more than least, mm.
func (a *Ahead) Even(u, least float64) (Slope, bool) {
	mean := make([]float64, len(a.at))
	for _, e := range a.drawn {
		for j, v := range e {
			mean[j] += v / float64(len(a.drawn))
		}
	}
	left := func(k float64) (most float64) {
		for j, v := range mean {
			most = math.Max(most, math.Abs(v+k*(a.at[j].U-a.gap.Zero.U)))
		}
		return most
	}
	// The largest of several |straight lines| has one valley.
	lo, hi := -0.02, 0.02
	for range 60 {
		if x, y := lo+(hi-lo)/3, hi-(hi-lo)/3; left(x) < left(y) {
			hi = y
		} else {
			lo = x
		}
	}
	act := Slope{(lo + hi) / 2, u}
	return act, a.Helps(act, least)
}

// Helps says whether an act is known to help, as Even does.
func (a *Ahead) Helps(act Slope, least float64) bool {
	now, then := a.largest(Slope{}), a.largest(act)
	var gain []float64
	for i := range now {
		gain = append(gain, now[i]-then[i])
	}
	slices.Sort(gain)
	return gain[len(gain)/40] > 0 && gain[len(gain)/2] > least
}
