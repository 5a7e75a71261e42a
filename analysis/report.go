package analysis

import (
	"math"
	"slices"

	"abbed/analysis/fit"
)

// report fills the model from the surface.
func (g *gauged) report() {
	m := &g.model
	best := g.surface.members[0]
	g.selections()
	m.Rank, m.Condition = g.crossed(best)
	k := len(best.terms)
	m.Covariance = make([][]float64, k)
	for i := range k {
		for j := range k {
			m.Covariance[i] = append(m.Covariance[i], best.s2*best.fit.Unscaled.At(i, j))
		}
	}
	for t := range termCount {
		v, u, dof, w, ok := g.surface.coefficient(t, func(member) bool { return true })
		if !ok {
			continue
		}
		unit := "mm"
		if t == termF || t == termH || t == termR {
			unit = ""
		}
		m.Coefficients = append(m.Coefficients, Coefficient{Term: t.String(), Says: termSays[t], Weight: w, Measured: measured(v, u, dof, unit)})
	}
	g.residuals()
	g.lackOfFit(best)
	g.cannotTell()
}

// selections lists the selections of terms, those that differ in nothing but
// what was held of their sizes as one.
func (g *gauged) selections() {
	type selection struct {
		first  member
		weight float64
	}
	var all []selection
	at := map[[termCount]bool]int{}
	for _, c := range g.surface.members {
		var key [termCount]bool
		for _, t := range c.terms {
			key[t] = true
		}
		i, there := at[key]
		if !there {
			i = len(all)
			at[key] = i
			all = append(all, selection{first: c})
		}
		all[i].weight += c.weight
	}
	slices.SortStableFunc(all, func(a, b selection) int { return cmp(b.weight, a.weight) })
	for _, s := range all[:min(len(all), listed)] {
		_, condition := g.crossed(s.first)
		g.model.Candidates = append(g.model.Candidates, Candidate{Terms: names(s.first.terms), AICc: s.first.aicc, Weight: s.weight,
			S: math.Sqrt(s.first.s2), DoF: s.first.dof, Condition: condition})
	}
}

// listed is how many selections of terms are reported.
const listed = 12

// crossed returns rank and condition of a member's matrix, the priors' rows
// included, by QR.
func (g *gauged) crossed(m member) (rank int, condition float64) {
	var rows [][]float64
	var w []float64
	for i, p := range g.obs.pairs {
		row := g.surface.frame.row(m.terms, p.Place)
		for k, t := range m.terms {
			if t == termD {
				row[k] = g.obs.when(i)
			}
		}
		rows, w = append(rows, row), append(w, g.obs.w[i])
	}
	for k, s := range m.priors {
		if s.sd > 0 {
			row := make([]float64, len(m.terms))
			row[k] = 1
			rows, w = append(rows, row), append(w, g.obs.sigma02/(s.sd*s.sd))
		}
	}
	r, err := fit.Least(rows, make([]float64, len(rows)), w)
	if err != nil {
		return 0, math.Inf(1)
	}
	return r.Rank, r.Condition
}

func names(ts []term) []string {
	var out []string
	for _, t := range ts {
		out = append(out, t.String())
	}
	return out
}

func (g *gauged) residuals() {
	for i, p := range g.obs.pairs {
		v := g.surface.value(p.Place)
		g.model.Residuals = append(g.model.Residuals, Residual{N: p.N, Place: p.Place, Gap: p.G, Fitted: v, Residual: p.G - v, Outlier: g.obs.w[i] == 0})
	}
}

// lackOfFit compares what the best candidate leaves of the places' means with
// the scatter of repeats at one place (Draper, Smith, Applied Regression
// Analysis, 2.1; from memory; NIST e-Handbook 4.4.4.6).
func (g *gauged) lackOfFit(best member) {
	pure, dof := fit.PureError(g.obs.g, g.obs.w, g.obs.places())
	if dof < 1 {
		return
	}
	s := deviation(math.Sqrt(pure/dof), dof, "mm")
	g.model.PureError = &s
	df := best.fit.DoF - dof
	if df < 1 {
		return
	}
	// The expected scatter joins the pure error, as in the fit, so that a few
	// repeats that agree by luck do not condemn a good model.
	within := (pure + priorDoF*g.obs.sigma02) / (dof + priorDoF)
	f := math.Max(best.fit.RSS-pure, 0) / df / within
	g.model.LackOfFit = &LackOfFit{F: f, DF1: df, DF2: dof + priorDoF, P: fit.FTail(f, df, dof+priorDoF)}
}

// cannotTell lists the pairs of terms that the places leave alike.
func (g *gauged) cannotTell() {
	f := g.surface.frame
	add := func(a, b term, text, next string) {
		g.model.CannotTell = append(g.model.CannotTell, CannotTell{[]string{a.String(), b.String()}, text, next})
	}
	if n := len(g.support.columns); n == 3 {
		add(termT, termT3, "three columns cannot tell a slope from an S shape that is zero at all three", "gauge a fourth and fifth column")
	}
	if len(g.support.rows) < 2 {
		add(termOne, termS, "one row cannot tell what changes from front to back", "gauge a second row")
	}
	if !g.support.profile {
		return
	}
	for _, t := range []term{termT2, termT3} {
		if len(g.support.columns) < 4 || alike(g, f, t, termF) {
			add(t, termF, "at the gauged places the survey's profile looks like "+termSays[t]+": which of the two it is they do not tell", "gauge one more column between the others")
		}
	}
}

// alike says whether two terms, each freed of 1 and t, go together at the
// gauged places: a correlation beyond 0.98.
func alike(g *gauged, f frame, a, b term) bool {
	var base [][]float64
	var ya, yb []float64
	for _, p := range g.obs.pairs {
		base = append(base, f.row([]term{termOne, termT}, p.Place))
		ya, yb = append(ya, f.value(a, p.Place)), append(yb, f.value(b, p.Place))
	}
	ra, errA := fit.Least(base, ya, nil)
	rb, errB := fit.Least(base, yb, nil)
	if errA != nil || errB != nil {
		return true
	}
	d := dot([][]float64{ra.Residuals}, [][]float64{rb.Residuals})
	return d*d > 0.96*ra.RSS*rb.RSS
}
