package analysis

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"abbed/analysis/fit"
	"abbed/analysis/given"
	"abbed/analysis/model"
	"abbed/analysis/plate"
	"abbed/analysis/result"
	"abbed/probe/record"
)

// extra is a reading beside the gaugings: a printed patch, an angle of the head, a
// touch on a straight reference, a gauging of a later run.
type extra struct {
	by      string          // the way of seeing, as Tell.By has it
	of      record.Quantity // of an angle
	place   record.Place
	reading model.Reading
}

// printed are the patches that tell of the gap error. With a correction of ours in force
// they show what it left, and are of no use here.
func (g *gauged) printed() []record.Reading {
	if g.run.Setup.Applied != nil {
		return nil
	}
	return given.Latest(g.run, record.QuantityCoupon)
}

// patches returns the printed patches as readings of the gap error: within the gauged
// area, or all of them where nothing was gauged and they are the reference by themselves.
func (g *gauged) patches(constant int) (out []extra) {
	area := g.area().Grown(g.run.Setup.Criteria.GaugedMargin)
	for _, r := range g.printed() {
		if len(g.pairs) == 0 || area.Has(r.Place) {
			out = append(out, extra{by: byCoupons, place: r.Place, reading: model.Reading{Row: g.machine.Gap(r.Place), Y: r.Value, U: r.U, Constant: constant}})
		}
	}
	return out
}

// angled returns the readings of one angle of the head: that of the carriage with the
// nozzle there, and on a moving gantry that of the bridge.
func (g *gauged) angled(q record.Quantity, of, bridge model.Motion, constant int) (out []extra) {
	for _, r := range given.Latest(g.run, q) {
		row := g.machine.Angle(of, r.Place.U)
		if g.run.Setup.Layout == record.MovingGantry {
			row = row.Plus(g.machine.Angle(bridge, r.Place.V))
		}
		out = append(out, extra{by: byAngles, of: q, place: r.Place, reading: model.Reading{Row: row, Y: r.Value, U: r.U, Constant: constant}})
	}
	return out
}

// laid returns what a straight reference shows at its columns, up to a level and a tilt.
func (g *gauged) laid(r *plate.Reference, constant int) (out []extra) {
	if r == nil {
		return nil
	}
	for _, c := range r.Columns {
		p := record.Place{U: c.At, V: r.Y}
		along := (c.At - (r.X0+r.X1)/2) / math.Max(r.X1-r.X0, 1)
		out = append(out, extra{by: byReference, place: p, reading: model.Reading{Row: g.machine.Laid(p), Y: c.Effect, U: c.U, Constant: constant, Tilt: constant + 1, Along: along}})
	}
	return out
}

// contradicted is the probability below which readings count as contradicting
// the gaugings: they are then left out of the fit, and it is said.
const contradicted = 0.001

// join takes the readings beside the gaugings that do not contradict what is told
// without them, and reports whether there are any.
func (g *gauged) join(ref *plate.Reference) bool {
	for _, group := range []struct {
		name   string
		xs     []extra
		spends int
	}{
		{"printed patches", g.patches(1), 1},
		{"angle readings", g.angled(record.QuantityRoll, model.EAX, model.EAY, 2), 1},
		{"angle readings", g.angled(record.QuantityPitch, model.EBX, model.EBY, 3), 1},
		{"touches along the reference", g.laid(ref, 4), 2},
	} {
		dof := float64(len(group.xs) - group.spends)
		if dof <= 0 {
			continue
		}
		centred(group.xs)
		if chi := g.surprise(group.xs, g.alone, 0); fit.FTail(chi/dof, dof, 1e6) < contradicted {
			g.refused = append(g.refused, fmt.Sprintf("The %s contradict the readings (chi-square %.0f on %.0f). They were left out of the fit.", group.name, chi, dof))
			continue
		}
		g.extra = append(g.extra, group.xs...)
	}
	return g.joinLater(6) || len(g.extra) > 0
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

// surprise is the chi-square of what readings show less what the posterior says of them;
// 0 where there is none. Their doubts hang together (generalised least squares: Draper,
// Smith, Applied Regression Analysis, 9.2; from memory), a constant and a tilt that some
// share may be anything, and the first so many of them may share a change of the head's
// tilt. Outside the gauged area the doubt grows as Gap.Beyond has it; beside the only row
// that was gauged, where the Y axis may do anything, by the steepest slope that a
// correction may have: what lies there is new, and no contradiction.
func (g *gauged) surprise(xs []extra, sf surface, tilted int) float64 {
	if sf.post == nil || len(xs) == 0 {
		return 0
	}
	c, n, zero := g.run.Setup.Criteria, len(xs), g.run.Setup.Zero
	trial := &Gap{Zero: zero, Area: record.Bound(placesOf(g.pairs)), surface: sf, steep: c.Steepest / 10}
	d, v := mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
	for i, x := range xs {
		told, _ := sf.post.At(x.reading.Row)
		d.SetVec(i, x.reading.Y-told)
		for k, y := range xs[:i+1] {
			cov := sf.post.Between(x.reading.Row, y.reading.Row)
			if x.reading.Constant == y.reading.Constant {
				cov += 1 + x.reading.Along*y.reading.Along
			}
			if i < tilted {
				du, dv := (x.place.U-zero.U)*(y.place.U-zero.U), (x.place.V-zero.V)*(y.place.V-zero.V)
				cov += tiltChange * tiltChange * (du + dv)
			}
			v.SetSym(i, k, cov)
		}
		own := x.reading.U * x.reading.U
		if x.by == byLater {
			if _, u95, far := trial.Beyond(x.place); far > 0 {
				u95 = math.Max(u95, trial.across(x.place)*c.Steepest)
				own += u95 * u95 / (result.Z95 * result.Z95)
			}
		}
		v.SetSym(i, i, v.At(i, i)+own)
	}
	var chol mat.Cholesky
	var vd mat.VecDense
	if !chol.Factorize(v) || chol.SolveVecTo(&vd, d) != nil {
		return 0
	}
	return mat.Dot(d, &vd)
}

// has says whether readings of the kind are in the fit.
func (g *gauged) has(by string, of record.Quantity) bool {
	return slices.ContainsFunc(g.extra, func(x extra) bool { return x.by == by && x.of == of })
}
