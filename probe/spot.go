package probe

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

// Constants of gauging (the project's safety rule 5), mm.
const (
	hopMost       = 80.0  // a place lies within this of one already gauged
	hopKnown      = 120.0 // the same once the model says where the gauge drags, and how well it knows
	arriveAbove   = 1.0   // above where the gauge is expected to drag, at the zero point
	arriveEarly   = 0.25  // the same at the two points after it, beyond their doubt
	arriveLeast   = 0.04  // what the doubt of the model counts at least
	arriveProbe   = 0.20  // more, for a probe that is wrong at this point only
	arriveAgain   = 0.10  // at a point that was gauged before: there a reading tells it, and not the probe
	alongSlope    = 0.003 // more doubt per mm along the line of the gauged points
	acrossSlope   = 0.010 // the same where nothing was gauged in that direction
	frameMoved    = 0.03  // between two visits, by the touches: more than these scatter
	floorBelow    = 0.05  // below the predicted contact
	floorSlope    = 0.003 // more per mm to the nearest gauged place
	floorAtZero   = 0.5   // below the predicted contact at the zero place
	floorMost     = 0.8   // below the printer's own limit, or the lowest reading
	floorRecorded = 0.3   // below what the readings by themselves predict
	defaultBlade  = 0.10
)

// tilt is the largest tilt of the head that a first arrival allows for, rad.
var tilt = 3 * math.Pi / 180

// approachTo is how the nozzle comes to a gauging place: what is predicted, how
// high it arrives, how low it may go, and the doubt of the prediction: a standard
// uncertainty where sure is set, else a bound.
type approachTo struct {
	predicted float64 // bed contact of the nozzle, mm
	arrival   float64
	floor     float64
	doubt     float64
	sure      bool
}

// descent is the way down from height z with a gauge of so many mm.
func (a approachTo) descent(z, blade float64) descent {
	return descent{expected: a.predicted + blade, doubt: a.doubt, sure: a.sure, floor: a.floor, gauge: blade, z: z, loose: math.NaN(), tight: math.NaN()}
}

// first returns the approach to the zero place, touched at height touched.
//
//	arrival = E + 1 mm + |lever| sin 3 deg;  floor = predicted - 0.5 mm
//
// with E the height at which the gauge is expected to drag.
func first(touched, blade float64, lever record.Lever) approachTo {
	return approachTo{
		predicted: touched,
		arrival:   touched + blade + arriveAbove + lever.Length()*math.Sin(tilt),
		floor:     touched - floorAtZero,
	}
}

// early returns the approach to the second and the third point p, touched at height
// touched, with gs gauged so far and contacts the bed contacts recorded there. The bed
// at the nozzle is predicted twice, by the touches of p and by the contacts alone, so
// that neither a probe that lies nor a bed that slopes brings the nozzle near it:
//
//	arrival = the higher of both + blade + doubt + 0.25 mm
//	doubt   = 0.3 mm per 100 mm along the line of the points, 1 mm per 100 mm across
//	floor   = predicted - 0.05 mm - 0.3 mm per 100 mm to the nearest gauged place
func early(touched, blade float64, p record.Place, gs, contacts []gauged) approachTo {
	a := approachTo{predicted: touched - expect(gs, p), doubt: bound(gs, p)}
	a.arrival = max(a.predicted, expect(contacts, p)) + blade + a.doubt + arriveEarly
	a.floor = a.predicted - floorBelow - floorSlope*nearest(gs, p).place.Distance(p)
	return a
}

// bound is how far the gap error at p may be from the straight line through the gauged
// places, or through the only one.
func bound(gs []gauged, p record.Place) float64 {
	from := nearest(gs, p).place
	hop := from.Distance(p)
	far := from
	for _, g := range gs {
		if g.place.Distance(from) > far.Distance(from) {
			far = g.place
		}
	}
	if far.Distance(from) < leastHop {
		return acrossSlope * hop
	}
	du, dv := (far.U-from.U)/far.Distance(from), (far.V-from.V)/far.Distance(from)
	across := math.Abs((p.U-from.U)*dv - (p.V-from.V)*du)
	return alongSlope*math.Sqrt(math.Max(0, hop*hop-across*across)) + acrossSlope*across
}

// byModel returns the approach where the model expects the raw gap error raw with
// standard uncertainty u, hop mm from the nearest gauged place.
//
//	arrival = E + max(0.04 mm, 4 u) + 0.20 mm
func byModel(touched, raw, u, blade, hop float64) approachTo {
	p := touched - raw
	return approachTo{
		predicted: p, arrival: p + blade + max(arriveLeast, 4*u) + arriveProbe,
		floor: p - floorBelow - floorSlope*hop, doubt: u, sure: true,
	}
}

// beside returns the approach where the readings alone predict the bed contact at contact: a
// probe that lies more from point to point bends the model with it, and the readings know
// where the bed is. Where the two are far apart, any height between them may be it.
func (a approachTo) beside(contact, blade float64) approachTo {
	a.arrival = max(a.arrival, contact+blade+arriveProbe)
	if off := contact - a.predicted; off > arriveProbe {
		a.doubt, a.sure = off, false
	}
	return a
}

// back returns the approach to a place that was gauged before, with contact the bed
// contact recorded there last: that, unless the touches just made say that the frame has
// moved since by more than frameMoved; then it is predicted from them, and arrives no
// lower. floor is how far below may be gone.
func back(touched, raw, contact, blade, floor float64) approachTo {
	p := touched - raw
	if math.Abs(p-contact) <= frameMoved {
		p = contact
	}
	return approachTo{predicted: p, arrival: max(p, contact) + blade + arriveAgain, floor: p - floor, doubt: lastStep, sure: true}
}

// above returns the approach with no floor, and no arrival, below lowest.
func (a approachTo) above(lowest float64) approachTo {
	a.floor, a.arrival = max(a.floor, lowest), max(a.arrival, lowest)
	return a
}

// contacts are the bed contacts of the nozzle at the gauged places, as raw, mm.
func contacts(run record.Run) []gauged {
	var out []gauged
	for _, r := range run.Gaugings {
		out = append(out, gauged{place: r.Place, raw: r.Z - r.Blade})
	}
	return out
}

// lowest is how far down the nozzle may go at p whatever the touches there say, so
// that a probe that lies cannot send it deeper: tenths of a millimetre below the printer's
// own limit or the lowest contact at, and little below what the contacts predict.
func lowest(at []gauged, p record.Place, limit float64) float64 {
	for _, c := range at {
		limit = min(limit, c.raw)
	}
	limit -= floorMost
	if len(at) == 0 {
		return limit
	}
	far, slope := nearest(at, p).place.Distance(p), slopeMore
	if len(at) == 1 {
		slope = slopeOne
	}
	return max(limit, expect(at, p)-floorRecorded-slope*far)
}

// expect foretells the raw gap error at p: that of the only gauged place, or a
// linear fit through the nearest four.
func expect(gs []gauged, p record.Place) float64 {
	near := nearestFew(gs, p, 4)
	m, su, sv, rank := plane(near)
	if rank == 0 {
		return near[0].raw
	}
	return m.raw + su*(p.U-m.place.U) + sv*(p.V-m.place.V)
}

// plane returns the mean of the places and the slope of their raw heights, by a linear
// fit of least norm, so that places on one line say nothing across it: rank is in how
// many directions they spread by 10 mm, without which they tell no slope.
func plane(gs []gauged) (mean gauged, su, sv float64, rank int) {
	for _, g := range gs {
		mean.place.U, mean.place.V, mean.raw = mean.place.U+g.place.U, mean.place.V+g.place.V, mean.raw+g.raw
	}
	n := float64(len(gs))
	mean.place.U, mean.place.V, mean.raw = mean.place.U/n, mean.place.V/n, mean.raw/n
	a := mat.NewDense(len(gs), 2, nil)
	b := mat.NewVecDense(len(gs), nil)
	for i, g := range gs {
		a.Set(i, 0, g.place.U-mean.place.U)
		a.Set(i, 1, g.place.V-mean.place.V)
		b.SetVec(i, g.raw-mean.raw)
	}
	var svd mat.SVD
	if len(gs) < 2 || !svd.Factorize(a, mat.SVDThin) {
		return mean, 0, 0, 0
	}
	for _, s := range svd.Values(nil) {
		if s > 10 {
			rank++
		}
	}
	if rank == 0 {
		return mean, 0, 0, 0
	}
	var slope mat.VecDense
	svd.SolveVecTo(&slope, b, rank)
	return mean, slope.AtVec(0), slope.AtVec(1), rank
}

// nearestFew returns the up to n gauged places nearest to p.
func nearestFew(gs []gauged, p record.Place, n int) []gauged {
	sorted := slices.SortedStableFunc(slices.Values(gs), func(a, b gauged) int {
		return cmp.Compare(a.place.Distance(p), b.place.Distance(p))
	})
	return sorted[:min(n, len(sorted))]
}
