package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// extra is a direct reading of the gap error beside the gaugings, with its own
// standard uncertainty: a printed patch, or the roll of the head turned into
// what it costs at the lever, or a gauging of a later run. Those of one mate share
// an unknown constant of their own.
type extra struct {
	kind  kind
	mate  int
	place record.Place
	y, u  float64 // mm
}

// Mates: all patches, all rolls, and each later run by itself.
const (
	thePatches = iota
	theRolls
	firstLater
)

// kind is where an extra comes from.
type kind int

const (
	patch kind = iota
	roll
	gauging // of a later run
)

// mates is how many unknown constants the extras bring, and which is whose.
func (o observations) mates() (n int, at map[int]int) {
	at = map[int]int{}
	for _, x := range o.extra {
		if _, there := at[x.mate]; !there {
			at[x.mate] = n
			n++
		}
	}
	return n, at
}

// extraRow is the row of the design for an extra: the terms, then a 1 at its
// own constant. A patch or a gauging reads the whole gap error. A roll of the head reads
// what the beam does to it: nothing of the Y axis (s, t s, and the part of t
// that termY takes away again).
func (f frame) extraRow(x extra, terms []term, n int, at map[int]int) []float64 {
	row := make([]float64, len(terms)+n)
	for i, t := range terms {
		switch {
		case x.kind == roll && (t == termOne || changesAlongY(t)):
		case x.kind == roll && t == termY:
			row[i] = -f.value(termT, x.place)
		default:
			row[i] = f.value(t, x.place)
		}
	}
	row[len(terms)+at[x.mate]] = 1
	return row
}

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

// patches returns the printed patches as readings of the gap error. With a
// correction of ours in force they show what it left, and are of no use here.
func patches(run record.Run, area record.Rect) []extra {
	if run.Setup.Applied != nil {
		return nil
	}
	var out []extra
	for _, r := range latest(run, record.QuantityCoupon) {
		if area.Has(r.Place) {
			out = append(out, extra{patch, thePatches, r.Place, r.Value, r.U})
		}
	}
	return out
}

// rolls returns the roll readings as readings of the gap error: g = -py a at
// the place under the probe, where the lever lies along Y.
func rolls(run record.Run) []extra {
	l := run.Setup.Lever
	if pointing(l) != alongY {
		return nil
	}
	var out []extra
	for _, r := range latest(run, record.QuantityRoll) {
		p := record.Place{U: r.Place.U + l.X, V: r.Place.V}
		out = append(out, extra{roll, theRolls, p, -l.Y * math.Sin(r.Value), math.Abs(l.Y) * r.U})
	}
	return out
}

// contradicted is the probability below which readings count as contradicting
// the gaugings: they are then left out of the fit, and it is said.
const contradicted = 0.001

// join takes the readings into the observations that can tell something and do
// not contradict what the gaugings alone say: chi-square of their differences,
// the unknown constant (and for rolls the slope, which the Y axis may make)
// taken out.
func (g *gauged) join(run record.Run, s surface) {
	area := placesOf(g.obs.pairs).Grown(run.Setup.Criteria.GaugedMargin)
	for _, group := range []struct {
		name string
		xs   []extra
		free int
	}{{"printed patches", patches(run, area), 1}, {"angle readings", rolls(run), 2}} {
		n := len(group.xs)
		if n < group.free+1 {
			continue
		}
		rows := make([][]float64, n)
		y, w := make([]float64, n), make([]float64, n)
		for i, x := range group.xs {
			v, u := s.contrast(x.place, run.Setup.Zero)
			if x.kind == roll {
				v, u = s.part(x.place, run.Setup.Zero, func(t term) bool { return !changesAlongY(t) })
			}
			rows[i] = []float64{1, s.frame.value(termT, x.place)}[:group.free]
			y[i], w[i] = x.y-v, 1/(x.u*x.u+u*u/(z95*z95))
		}
		r, err := fit.Least(rows, y, w)
		if err != nil || r.Rank < group.free || r.DoF < 1 {
			continue
		}
		if p := fit.FTail(r.RSS/r.DoF, r.DoF, 1e6); p < contradicted {
			g.refused = append(g.refused, fmt.Sprintf("The %s contradict the gaugings (chi-square %.0f on %.0f degrees of freedom), and were left out of the fit.", group.name, r.RSS, r.DoF))
			continue
		}
		g.obs.extra = append(g.obs.extra, group.xs...)
		g.joined = append(g.joined, group.name)
	}
	g.supported()
}

// supported counts what the extras support beside the gaugings.
func (g *gauged) supported() {
	var us, vs []float64
	for _, p := range g.obs.pairs {
		us, vs = append(us, p.Place.U), append(vs, p.Place.V)
	}
	for _, x := range g.obs.extra {
		us = append(us, x.place.U)
		if x.kind != roll {
			vs = append(vs, x.place.V)
		}
		g.support.rolls = g.support.rolls || x.kind == roll
	}
	g.support.columns, _ = cluster(us, apart)
	g.support.rows, _ = cluster(vs, apart)
	g.support.places = max(g.support.places, len(g.support.columns))
}

// slopes is the left-right slope of the gap error over the gauged width, right
// end less left end, mm, taken apart by the angle readings.
type slopes struct{ beam, y Measured }

// split takes the slope apart: the beam's is what the readings show of it, the
// Y axis' the rest. It is nil without readings in the fit.
func (g *gauged) split() *slopes {
	if !g.support.rolls || len(g.surface.members) == 0 {
		return nil
	}
	c := candidate{terms: []sized{{term: termOne}, {term: termT}, {term: termY}}}
	for _, s := range g.surface.members[0].priors {
		if s.term > termT && s.term != termY {
			c.terms = append(c.terms, s)
		}
	}
	m, ok := fitOne(g.obs, c, g.surface.frame)
	if !ok {
		return nil
	}
	of := func(c []float64) Measured {
		return measured(m.fit.Predict(c), math.Sqrt(m.s2*m.fit.Variance(c)), m.dof, "mm")
	}
	// t runs from -1 to 1: the slope over the width is twice the coefficient.
	return &slopes{beam: of([]float64{0, 2, -2}), y: of([]float64{0, 0, 2})}
}

// tilted is what one angle of the head costs along X by its readings alone:
// right end of the gauged width less left end.
type tilted struct {
	quantity record.Quantity
	part     Measured // mm at the lever
	deg      Measured
}

// tilts fits the readings of each angle with a line (and a bow, for five places
// or more) over the gauged width: g holds -py a + px b.
func tilts(run record.Run, area record.Rect) []tilted {
	l := run.Setup.Lever
	var out []tilted
	for _, q := range []struct {
		quantity record.Quantity
		arm      float64
	}{{record.QuantityRoll, -l.Y}, {record.QuantityPitch, l.X}} {
		var rows [][]float64
		var y, w, xs []float64
		f := newFrame(area, nil)
		for _, r := range latest(run, q.quantity) {
			if !(r.U > 0) {
				continue
			}
			p := record.Place{U: r.Place.U + l.X, V: r.Place.V}
			rows = append(rows, f.row([]term{termOne, termT, termT2}, p))
			y, w, xs = append(y, r.Value), append(w, 1/(r.U*r.U)), append(xs, p.U)
		}
		terms := 3
		at, _ := cluster(xs, apart)
		if len(at) < 5 {
			terms = 2
		}
		for i := range rows {
			rows[i] = rows[i][:terms]
		}
		r, err := fit.Least(rows, y, w)
		if err != nil || r.Rank < terms || r.DoF < 1 {
			continue
		}
		// The uncertainty is the one that was said, or the residuals' if larger.
		u, dof := 2*r.U(1, 1), math.Inf(1)
		if s := r.S(); s > 1 {
			u, dof = u*s, r.DoF
		}
		d := 2 * r.Coef[1]
		out = append(out, tilted{q.quantity,
			measured(q.arm*d, math.Abs(q.arm)*u, dof, "mm"), measured(d*180/math.Pi, u*180/math.Pi, dof, "deg")})
	}
	return out
}
