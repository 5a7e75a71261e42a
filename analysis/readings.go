package analysis

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/probe/record"
)

// extra is a reading beside the gaugings: a printed patch, an angle of the head, a
// place of a straight reference, a gauging of a later run.
type extra struct {
	kind    kind
	of      record.Quantity // of an angle
	place   record.Place
	reading model.Reading
}

// kind is where an extra comes from.
type kind int

const (
	patch kind = iota
	angles
	reference
	gauging // of a later run
)

// latest returns the readings of a quantity as they count: those of the latest list, since
// each list has a constant of its own (bead, mounting), and one that is sent twice is one.
// Patches that were printed with a correction in force are none.
func latest(run record.Run, q record.Quantity) []record.Reading {
	counts := func(r record.Reading) bool { return r.Quantity == q && !r.Corrected }
	last := 0
	for _, r := range run.Readings {
		if counts(r) {
			last = max(last, r.Print)
		}
	}
	return keep(run.Readings, func(r record.Reading) bool { return counts(r) && r.Print == last })
}

// printed are the patches that tell of the gap error. With a correction of ours in force
// they show what it left, and are of no use here.
func (g *gauged) printed() []record.Reading {
	if g.run.Setup.Applied != nil {
		return nil
	}
	return latest(g.run, record.QuantityCoupon)
}

// patches returns the printed patches as readings of the gap error: within the gauged
// area, or all of them where nothing was gauged and they are the reference by
// themselves.
func (g *gauged) patches(constant int) []extra {
	area := g.area().Grown(g.run.Setup.Criteria.GaugedMargin)
	var out []extra
	for _, r := range g.printed() {
		if len(g.pairs) == 0 || area.Has(r.Place) {
			out = append(out, extra{kind: patch, place: r.Place, reading: model.Reading{Row: g.machine.Gap(r.Place), Y: r.Value, U: r.U, Constant: constant}})
		}
	}
	return out
}

// angled returns the readings of one angle of the head: that of the carriage with the
// nozzle there, and on a moving gantry that of the bridge.
func (g *gauged) angled(q record.Quantity, of, bridge model.Motion, constant int) []extra {
	var out []extra
	for _, r := range latest(g.run, q) {
		row := g.machine.Angle(of, r.Place.U)
		if g.run.Setup.Layout == record.MovingGantry {
			row = row.Plus(g.machine.Angle(bridge, r.Place.V))
		}
		out = append(out, extra{kind: angles, of: q, place: r.Place, reading: model.Reading{Row: row, Y: r.Value, U: r.U, Constant: constant}})
	}
	return out
}

// laid returns what a straight reference shows at its columns, up to a level and a tilt.
func (g *gauged) laid(r *referenceSeen, constant int) []extra {
	if r == nil {
		return nil
	}
	var out []extra
	for _, c := range r.machine.Columns {
		p := record.Place{U: c.At, V: r.Y}
		along := (c.At - (r.X0+r.X1)/2) / math.Max(r.X1-r.X0, 1)
		out = append(out, extra{kind: reference, place: p, reading: model.Reading{Row: g.machine.Laid(p), Y: c.Effect, U: c.U, Constant: constant, Tilt: constant + 1, Along: along}})
	}
	return out
}

// contradicted is the probability below which readings count as contradicting
// the gaugings: they are then left out of the fit, and it is said.
const contradicted = 0.001

// join takes the readings beside the gaugings that do not contradict what is told
// without them, and reports whether there are any.
func (g *gauged) join(ref *referenceSeen) bool {
	constant := 1
	for _, group := range []struct {
		name   string
		xs     []extra
		spends int
	}{
		{"printed patches", g.patches(constant), 1},
		{"angle readings", g.angled(record.QuantityRoll, model.EAX, model.EAY, constant+1), 1},
		{"angle readings", g.angled(record.QuantityPitch, model.EBX, model.EBY, constant+2), 1},
		{"touches along the reference", g.laid(ref, constant+3), 2},
	} {
		if len(group.xs) <= group.spends {
			continue
		}
		centred(group.xs)
		chi, dof := g.against(group.xs, g.alone, group.spends)
		if dof > 0 && fit.FTail(chi/dof, dof, 1e6) < contradicted {
			g.refused = append(g.refused, fmt.Sprintf("The %s contradict the gaugings (chi-square %.0f on %.0f degrees of freedom), and were left out of the fit.", group.name, chi, dof))
			continue
		}
		g.extra = append(g.extra, group.xs...)
	}
	return g.joinLater(constant+5) || len(g.extra) > 0
}

// centred takes the mean off readings that share a constant.
func centred(xs []extra) {
	m := 0.0
	for _, x := range xs {
		m += x.reading.Y / float64(len(xs))
	}
	for i := range xs {
		xs[i].reading.Y -= m
	}
}

// against returns the chi-square of what readings with one constant (and a tilt) show
// less what the posterior foretells there, and the degrees of freedom: generalised
// least squares with the covariance of what is foretold, since neighbours are
// foretold wrongly together (Draper, Smith, Applied Regression Analysis, 9.2; from
// memory). dof is 0 where there is nothing to be compared.
func (g *gauged) against(xs []extra, sf surface, spends int) (chi, dof float64) {
	if len(xs) <= spends || sf.post == nil {
		return 0, 0
	}
	d, v := g.apartFrom(xs, sf)
	x := mat.NewDense(len(xs), spends, nil)
	for i, e := range xs {
		x.Set(i, 0, 1)
		if spends > 1 {
			x.Set(i, 1, e.reading.Along)
		}
	}
	chi, ok := generalised(d, v, x, nil)
	if !ok {
		return 0, 0
	}
	return chi, float64(len(xs) - spends)
}

// apartFrom returns what readings show less what the posterior foretells, with the
// covariance of that. Outside the gauged area the doubt grows as Gap.Beyond has it;
// beside the only row that was gauged, where the Y axis may do anything, by the
// steepest slope that a correction may have: what lies there is new, and no
// contradiction.
func (g *gauged) apartFrom(xs []extra, sf surface) (*mat.VecDense, *mat.SymDense) {
	c, n := g.run.Setup.Criteria, len(xs)
	trial := &Gap{Zero: g.run.Setup.Zero, Area: record.Bound(placesOf(g.pairs)), surface: sf, steep: c.Steepest / 10}
	d, v := mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
	for i, x := range xs {
		told, _ := sf.post.At(x.reading.Row)
		d.SetVec(i, x.reading.Y-told)
		for k := range i + 1 {
			v.SetSym(i, k, sf.post.Between(x.reading.Row, xs[k].reading.Row))
		}
		own := x.reading.U * x.reading.U
		if x.kind == gauging {
			if _, u95, far := trial.Beyond(x.place); far > 0 {
				u95 = math.Max(u95, trial.across(x.place)*c.Steepest)
				own += u95 * u95 / (z95 * z95)
			}
		}
		v.SetSym(i, i, v.At(i, i)+own)
	}
	return d, v
}

// hasAngle says whether readings of this angle are in the fit.
func (g *gauged) hasAngle(q record.Quantity) bool {
	return slices.ContainsFunc(g.extra, func(x extra) bool { return x.kind == angles && x.of == q })
}

// has says whether readings of the kind are in the fit.
func (g *gauged) has(k kind) bool {
	return slices.ContainsFunc(g.extra, func(x extra) bool { return x.kind == k })
}
