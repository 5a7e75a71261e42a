package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/analysis/fit"
)

// outlierP is the probability, over all records together, of calling a good
// record an outlier.
const outlierP = 0.005

// withoutOutliers looks for records that do not fit with their fellows: the
// one without which the best candidate fits best is predicted from the others;
// it is an outlier if it lies beyond chance (Student's t, Bonferroni over the
// records), beyond three times the expected scatter, and is not borne out by a
// second record at its place. At most one record in six goes; each is listed.
func (g *gauged) withoutOutliers(candidates []candidate, f frame, sf surface) (observations, surface) {
	o := g.obs
	o.w = slices.Clone(o.w)
	for out := 0; (out+1)*6 <= len(o.pairs); out++ {
		i, off, ok := suspect(o, candidates, f, sf)
		if !ok {
			break
		}
		next := o
		next.w = slices.Clone(o.w)
		next.w[i] = 0
		less, ok := average(next, candidates, f)
		if !ok {
			break
		}
		p := o.pairs[i]
		g.model.Outliers = append(g.model.Outliers, Odd{N: p.N, Place: p.Place, Off: off,
			Text: fmt.Sprintf("the gauging at %s lies %s from what all others say; it was set aside: gauge this place again", p.Place, um(off))})
		o, sf = next, less
	}
	g.doubted(sf)
	return o, sf
}

// doubted lists the records that are more likely wild than not by the average,
// though none was set aside for certain.
func (g *gauged) doubted(sf surface) {
	odd := map[int]float64{}
	for _, m := range sf.members {
		odd[m.odd] += m.weight
	}
	for i, p := range g.obs.pairs {
		if odd[i+1] > 0.5 {
			v, _, _ := sf.raw(p.Place)
			g.model.Outliers = append(g.model.Outliers, Odd{N: p.N, Place: p.Place, Off: p.G - v, Used: true,
				Text: fmt.Sprintf("the gauging at %s does not fit well with the others; it was kept with less weight: gauge this place again", p.Place)})
		}
	}
}

func suspect(o observations, candidates []candidate, f frame, sf surface) (worst int, off float64, ok bool) {
	if !suspicious(o, sf.likeliest(len(o.pairs) >= bentLeast)) {
		return 0, 0, false
	}
	top := math.Inf(-1)
	worst = -1
	var m member
	for i := range o.pairs {
		if o.w[i] == 0 || bornOut(o, i) {
			continue
		}
		less := o
		less.w = slices.Clone(o.w)
		less.w[i] = 0
		if c, log, fits := best(less, candidates, f); fits && log > top {
			top, worst, m = log, i, c
		}
	}
	if worst < 0 {
		return 0, 0, false
	}
	off = m.fit.Residuals[worst]
	row := f.row(m.terms, o.pairs[worst].Place)
	sd := math.Sqrt(m.s2 * (1/o.w[worst] + m.fit.Variance(row)))
	t := math.Abs(off) / sd
	p := 2 * fit.TTail(t, m.dof) * float64(m.fit.N+1)
	return worst, off, p < outlierP && math.Abs(off) > 3*math.Sqrt(o.sigma02)
}

// likeliest is the member with the largest weight; where few records cannot tell a
// slip from a shape, of those that hold none to be wild.
func (s surface) likeliest(wild bool) member {
	for _, m := range s.members {
		if wild || m.odd == 0 {
			return m
		}
	}
	return s.members[0]
}

// suspicious spares the search where no residual stands out.
func suspicious(o observations, m member) bool {
	for i, e := range m.fit.Residuals {
		if o.w[i] > 0 && math.Abs(e) > 2.5*math.Sqrt(o.sigma02) {
			return true
		}
	}
	return false
}

// bornOut says whether another record at the same place agrees with record i.
func bornOut(o observations, i int) bool {
	for j, p := range o.pairs {
		if j != i && o.w[j] > 0 && p.Place.Distance(o.pairs[i].Place) < 1 &&
			math.Abs(o.g[i]-o.g[j]) < 3*math.Sqrt(2*o.sigma02) {
			return true
		}
	}
	return false
}
