package analysis

import (
	"math"
	"slices"

	"abbed/probe/record"
)

// surface is the average over the members: a model of the raw gap error.
type surface struct {
	frame   frame
	members []member
	// blades is a variance that contrasts keep because several blades were
	// used, mm^2.
	blades float64
	// fixed is the half width where nothing was fitted (no lever), mm.
	fixed float64

	// Every contrast is a weighted sum of the coefficients, so that the average
	// is one vector, and its variance one matrix: sum w_k (t_k^2 cov_k + (b_k - b)(b_k - b)')
	// with t in units of the normal's 1.96, the spread between the members
	// included (Burnham, Anderson, Model Selection and Multimodel Inference,
	// 2002, eq. 4.9 with 4.3.3's t; from memory). b is the average under the members'
	// weights, the w_k of the matrix are their weights in the doubt (see bowed).
	mean vector
	cov  matrix
	// profs is what the doubt of the survey's own shape is multiplied by: the
	// mean square of the coefficients of f, h and r, likewise.
	profs [len(shapes)]float64
}

// sum sets mean and cov from the members.
func (s *surface) sum() {
	s.mean, s.cov, s.profs = vector{}, matrix{}, [len(shapes)]float64{}
	for _, m := range s.members {
		for i, t := range m.terms {
			s.mean[t] += m.weight * m.fit.Coef[i]
		}
	}
	var off vector
	for _, m := range s.members {
		for t := range off {
			off[t] = -s.mean[t]
		}
		for i, t := range m.terms {
			off[t] += m.fit.Coef[i]
		}
		k := m.t / z95
		for a := range off {
			for b := range off {
				s.cov[a][b] += m.doubt * off[a] * off[b]
			}
		}
		for i, a := range m.terms {
			for j, b := range m.terms {
				s.cov[a][b] += m.doubt * k * k * m.s2 * m.fit.Unscaled.At(i, j)
			}
		}
		for i, t := range shapes {
			s.profs[i] += m.doubt * k * k * m.at(t) * m.at(t)
		}
	}
}

// contrast returns the gap error at p against q and the half width of its 95 %
// interval.
func (s surface) contrast(p, q record.Place) (gap, u95 float64) {
	return s.part(p, q, func(term) bool { return true })
}

// part is contrast for the terms that pass only.
func (s surface) part(p, q record.Place, pass func(term) bool) (gap, u95 float64) {
	if len(s.members) == 0 {
		return 0, s.fixed
	}
	c, gap := s.difference(p, q, pass)
	v := s.cov.times(c) + s.unsure(p, q, pass)
	if p != q {
		v += s.blades
	}
	return gap, z95 * math.Sqrt(math.Max(v, 0))
}

// vector and matrix are over all terms.
type (
	vector [termCount]float64
	matrix [termCount][termCount]float64
)

// times returns c' m c.
func (m *matrix) times(c vector) float64 { return m.between(c, c) }

// between returns a' m b.
func (m *matrix) between(a, b vector) float64 {
	v := 0.0
	for i := range a {
		if a[i] == 0 {
			continue
		}
		for k := range b {
			v += a[i] * b[k] * m[i][k]
		}
	}
	return v
}

// difference returns what the terms that pass are at p less at q, and the
// contrast.
func (s *surface) difference(p, q record.Place, pass func(term) bool) (c vector, gap float64) {
	for t := termOne + 1; t < termCount; t++ {
		if s.mean[t] == 0 && s.cov[t][t] == 0 || !pass(t) {
			continue
		}
		c[t] = s.frame.value(t, p) - s.frame.value(t, q)
		gap += c[t] * s.mean[t]
	}
	return c, gap
}

// unsure is the variance that the doubt of the survey's own shapes adds.
func (s *surface) unsure(p, q record.Place, pass func(term) bool) float64 {
	v := 0.0
	for i, t := range shapes {
		if s.profs[i] > 0 && pass(t) {
			v += s.profs[i] * s.frame.unsure(t, p, q)
		}
	}
	return v
}

// unsure is the variance of the survey's (or the machine's) own shape between p
// and q, mm^2.
func (f frame) unsure(t term, p, q record.Place) float64 {
	var up, uq float64
	switch {
	case t == termH && p.V != q.V:
		_, up = f.prof.bendY(p.V)
		_, uq = f.prof.bendY(q.V)
	case t == termF && p.U != q.U:
		_, up = f.prof.bend(p.U)
		_, uq = f.prof.bend(q.U)
	case t == termR && p.U != q.U:
		_, up = f.mach.bend(p.U)
		_, uq = f.mach.bend(q.U)
	}
	return up*up + uq*uq
}

// shapes are the terms whose shape itself was measured.
var shapes = [...]term{termF, termH, termR}

// raw returns the raw gap error at p (level and all) in the middle of the
// gauging, its standard uncertainty and degrees of freedom.
func (s surface) raw(p record.Place) (g, u, dof float64) {
	gs := make([]float64, len(s.members))
	for i, m := range s.members {
		gs[i] = m.fit.Predict(s.frame.row(m.terms, p))
		g += m.weight * gs[i]
		dof += m.weight * m.dof
	}
	v := 0.0
	for i, m := range s.members {
		v += m.doubt * (m.s2*m.fit.Variance(s.frame.row(m.terms, p)) + (gs[i]-g)*(gs[i]-g))
	}
	return g, math.Sqrt(v), dof
}

// value returns the raw gap error at p, as raw does.
func (s *surface) value(p record.Place) float64 {
	g := 0.0
	for t, b := range s.mean {
		if b != 0 {
			g += b * s.frame.value(term(t), p)
		}
	}
	return g
}

// weightOf returns the weight of the members that hold any term that passes.
func (s surface) weightOf(pass func(term) bool) float64 {
	w := 0.0
	for _, m := range s.members {
		if slices.ContainsFunc(m.terms, func(t term) bool { return t != termOne && pass(t) }) {
			w += m.weight
		}
	}
	return w
}

// coefficient returns the average of a term over the members that hold it and
// pass, with the spread between them; ok is false if there is none.
func (s surface) coefficient(t term, pass func(member) bool) (value, u, dof, weight float64, ok bool) {
	type one struct{ b, v, dof, w float64 }
	var all []one
	for _, m := range s.members {
		i := slices.Index(m.terms, t)
		if i < 0 || !pass(m) {
			continue
		}
		all = append(all, one{m.fit.Coef[i], m.s2 * m.fit.Unscaled.At(i, i), m.dof, m.weight})
		weight += m.weight
	}
	if len(all) == 0 || !(weight > 0) {
		return 0, 0, 0, 0, false
	}
	for _, o := range all {
		value += o.w / weight * o.b
		dof += o.w / weight * o.dof
	}
	v := 0.0
	for _, o := range all {
		v += o.w / weight * (o.v + (o.b-value)*(o.b-value))
	}
	return value, math.Sqrt(v), dof, weight, true
}
