package analysis

import (
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// priorDoF is how many degrees of freedom the expected scatter of a gauging
// (Criteria.GaugeScatter) is worth beside what the run shows: few, so that a
// dozen records overrule it.
const priorDoF = 3

// rarity is what AICc is raised by for each term beyond level and slope: twice
// the logarithm of the odds, about three to one, against such a term being there
// at all. Found by TestTruth's figures (p95 of a linear gap error at twelve
// gaugings 7.1 without, 6.6 with; of a cubic one the same).
const rarity = 2.0

// crossing is the condition (columns scaled to one length) beyond which two
// terms of a candidate count as not told apart by the places.
const crossing = 25

// negligible is the weight below which a candidate is left out of the average:
// together they could not move it by a hundredth of its doubt.
const negligible = 1e-4

// member is one candidate of the average.
type member struct {
	terms  []term
	fit    fit.Result
	s2     float64 // variance of one record, with the prior
	dof    float64
	t      float64 // two-sided 95 % point of Student's t for dof
	aicc   float64
	weight float64
}

// surface is the average over the members: a model of the raw gap error.
type surface struct {
	frame   frame
	members []member
	// blades is a variance that contrasts keep because several blades were
	// used, mm^2.
	blades float64
	// fixed is the half width where nothing was fitted (no lever), mm.
	fixed float64
}

// observations are gaugings ready to be fitted.
type observations struct {
	pairs   []Paired
	g, w    []float64
	sigma02 float64 // expected variance of one record, mm^2
	shaken  bool    // repeats scatter more than was expected: sigma02 is theirs
	extra   []extra // readings beside the gaugings
}

// observe weighs the pairs: variance of the gauging as expected plus that of
// its touches; weights are relative to the expected variance.
func observe(ps []Paired, c record.Criteria) observations {
	o := observations{pairs: ps}
	for _, p := range ps {
		o.sigma02 += (c.GaugeScatter*c.GaugeScatter + p.U*p.U) / float64(len(ps))
	}
	o.sigma02 = math.Max(o.sigma02, 1e-8)
	for _, p := range ps {
		o.g = append(o.g, p.G)
		o.w = append(o.w, o.sigma02/math.Max(c.GaugeScatter*c.GaugeScatter+p.U*p.U, 1e-8))
	}
	return o
}

// shaky says whether repeats at one place scatter more than was expected,
// beyond chance (F at 5 %), and then takes their own scatter for the expected
// one: a prior that the run contradicts must not narrow the intervals. What a
// model leaves beside repeats is no scatter, and does not count here.
func (o *observations) shaky() bool {
	pure, dof := fit.PureError(o.g, o.w, o.places())
	if dof < 2 || fit.FTail(pure/dof/o.sigma02, dof, 1e6) > 0.05 {
		return false
	}
	o.sigma02 = pure / dof
	o.shaken = true
	return true
}

// places numbers the places: records within 1 mm are at one.
func (o *observations) places() []int {
	var at []record.Place
	group := make([]int, len(o.pairs))
	for i, p := range o.pairs {
		group[i] = slices.IndexFunc(at, func(q record.Place) bool { return q.Distance(p.Place) < 1 })
		if group[i] < 0 {
			group[i] = len(at)
			at = append(at, p.Place)
		}
	}
	return group
}

// average fits every candidate and weighs it by AICc (Burnham, Anderson, Model
// Selection and Multimodel Inference, 2002, 2.2 and 4.3; from memory), the
// expected scatter counting as priorDoF further observations of the variance.
// Members come with the largest weight first. ok is false where nothing could
// be fitted.
func average(o observations, candidates [][]term, f frame) (surface, bool) {
	s := surface{frame: f}
	points := map[float64]float64{}
	for _, terms := range candidates {
		if m, ok := fitMember(o, terms, f); ok {
			s.members = append(s.members, m)
		}
	}
	if len(s.members) == 0 {
		return s, false
	}
	best := math.Inf(1)
	for _, m := range s.members {
		best = math.Min(best, m.aicc)
	}
	sum := 0.0
	for i := range s.members {
		s.members[i].weight = math.Exp(-(s.members[i].aicc - best) / 2)
		sum += s.members[i].weight
	}
	s.members = keep(s.members, func(m member) bool { return m.weight > negligible*sum })
	sum = 0
	for _, m := range s.members {
		sum += m.weight
	}
	for i := range s.members {
		m := &s.members[i]
		m.weight /= sum
		if points[m.dof] == 0 {
			points[m.dof] = fit.T95(m.dof)
		}
		m.t = points[m.dof]
	}
	slices.SortStableFunc(s.members, func(a, b member) int { return cmp(b.weight, a.weight) })
	return s, true
}

// shareExpected and shareSpread are what is held of the share before any
// gauging: somewhere from -1 to 2. Without it a profile of a few um, seen
// because the survey is dense, could be blown up to fit the gaugings' scatter;
// a profile worth correcting overrules it.
const (
	shareExpected = 0.5
	shareSpread   = 0.75
)

func fitMember(o observations, terms []term, f frame) (member, bool) {
	n := len(o.pairs)
	mates, at := o.mates()
	rows := make([][]float64, n, n+len(o.extra)+1)
	for i, p := range o.pairs {
		rows[i] = append(f.row(terms, p.Place), make([]float64, mates)...)
	}
	g, w := o.g, o.w
	for _, x := range o.extra {
		rows = append(rows, f.extraRow(x, terms, mates, at))
		g = append(slices.Clip(g), x.y)
		w = append(slices.Clip(w), o.sigma02/(x.u*x.u))
	}
	priors := 0
	if i := slices.IndexFunc(terms, func(t term) bool { return t == termF || t == termR }); i >= 0 {
		prior := make([]float64, len(terms)+mates)
		priors = 1
		prior[i] = 1
		rows = append(rows, prior)
		g = append(slices.Clip(g), shareExpected)
		w = append(slices.Clip(w), o.sigma02/(shareSpread*shareSpread))
	}
	r, err := fit.Least(rows, g, w)
	if err == nil {
		r.N, r.DoF, r.Residuals = r.N-priors, r.DoF-float64(priors), r.Residuals[:n]
	}
	return weigh(o, terms, mates, r, err)
}

// weigh judges a fit: its variance with the prior, and its AICc.
func weigh(o observations, terms []term, mates int, r fit.Result, err error) (member, bool) {
	if err != nil || r.Rank < len(terms)+mates || r.Condition > crossing || r.DoF < 1 {
		return member{}, false
	}
	n := float64(r.N) + priorDoF
	k := float64(len(terms) + mates + 1)
	if n-k-1 <= 0 {
		return member{}, false
	}
	ss := priorDoF*o.sigma02 + r.RSS
	m := member{terms: terms, fit: r, dof: r.DoF + priorDoF}
	m.s2 = ss / m.dof
	m.aicc = n*math.Log(ss/n) + 2*k + 2*k*(k+1)/(n-k-1)
	for _, t := range terms {
		if t > termT {
			m.aicc += rarity
		}
	}
	return m, true
}

const z95 = 1.959963984540054

// contrast returns the gap error at p against q and the half width of its 95 %
// interval: sum w_k (t_k^2 var_k + (g_k - g)^2), the spread between the
// members included (Burnham, Anderson 2002, eq. 4.9 with 4.3.3's t; from
// memory).
func (s surface) contrast(p, q record.Place) (gap, u95 float64) {
	return s.part(p, q, func(term) bool { return true })
}

// part is contrast for the terms that pass only.
func (s surface) part(p, q record.Place, pass func(term) bool) (gap, u95 float64) {
	if len(s.members) == 0 {
		return 0, s.fixed
	}
	vs := make([]float64, len(s.members))
	us := make([]float64, len(s.members))
	for i, m := range s.members {
		vs[i], us[i] = s.memberContrast(m, p, q, pass)
		gap += m.weight * vs[i]
	}
	v := 0.0
	for i, m := range s.members {
		t := m.t / z95
		v += m.weight * (t*t*us[i] + (vs[i]-gap)*(vs[i]-gap))
	}
	if p != q {
		v += s.blades
	}
	return gap, z95 * math.Sqrt(v)
}

// memberContrast returns one member's contrast and its variance, that of the
// survey's profile included.
func (s surface) memberContrast(m member, p, q record.Place, pass func(term) bool) (v, variance float64) {
	c := make([]float64, len(m.terms))
	for i, t := range m.terms {
		if t != termOne && pass(t) {
			c[i] = s.frame.value(t, p) - s.frame.value(t, q)
		}
	}
	variance = m.s2 * m.fit.Variance(c)
	for i, t := range m.terms {
		if (t == termF || t == termR) && pass(t) && p.U != q.U {
			prof := s.frame.prof
			if t == termR {
				prof = s.frame.mach
			}
			_, up := prof.bend(p.U)
			_, uq := prof.bend(q.U)
			variance += m.fit.Coef[i] * m.fit.Coef[i] * (up*up + uq*uq)
		}
	}
	return m.fit.Predict(c), variance
}

// raw returns the raw gap error at p (level and all), its standard uncertainty
// and degrees of freedom.
func (s surface) raw(p record.Place) (g, u, dof float64) {
	gs := make([]float64, len(s.members))
	for i, m := range s.members {
		gs[i] = m.fit.Predict(s.frame.row(m.terms, p))
		g += m.weight * gs[i]
		dof += m.weight * m.dof
	}
	v := 0.0
	for i, m := range s.members {
		v += m.weight * (m.s2*m.fit.Variance(s.frame.row(m.terms, p)) + (gs[i]-g)*(gs[i]-g))
	}
	return g, math.Sqrt(v), dof
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
