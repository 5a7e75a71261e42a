package probe

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

// Constants of gauging (the project's safety rule 5), mm.
const (
	hopMost       = 80.0  // a place lies within this of one already gauged
	arriveAbove   = 1.0   // above the predicted contact
	arriveSlope   = 0.010 // more per mm of hop, while only the zero place is gauged
	arriveAgain   = 0.15  // above the recorded blade contact
	frameMoved    = 0.03  // between two visits, by the touches: more than these scatter
	floorBelow    = 0.05  // below the predicted contact
	floorSlope    = 0.003 // more per mm to the nearest gauged place
	floorAtZero   = 0.5   // below the predicted contact at the zero place
	floorMost     = 0.8   // below the printer's own limit, or the lowest reading
	floorRecorded = 0.3   // below what the readings by themselves predict
	finest        = 0.02  // the smallest step that is asked for
	fine          = 0.05
	largeBlade    = 0.30
	defaultBlade  = 0.10
	thinnestBlade = 0.02
)

// tilt is the largest tilt of the head that a first arrival allows for, rad.
var tilt = 3 * math.Pi / 180

// approachTo is how the nozzle comes to a gauging place: what is predicted, how
// high it arrives, how low it may go, and the doubt of the prediction.
type approachTo struct {
	predicted float64 // bed contact of the nozzle, mm
	arrival   float64
	floor     float64
	doubt     float64
}

// first returns the approach to the zero place, touched at height touched.
//
//	arrival = predicted + 1 mm + |lever| sin 3 deg;  floor = predicted - 0.5 mm
func first(touched float64, lever record.Lever) approachTo {
	return approachTo{
		predicted: touched,
		arrival:   touched + arriveAbove + lever.Length()*math.Sin(tilt),
		floor:     touched - floorAtZero,
	}
}

// later returns the approach to p, touched at height touched, with gs gauged so
// far (at least one).
//
//	floor = predicted - 0.05 mm - 0.3 mm per 100 mm to the nearest gauged place
func later(touched float64, p record.Place, gs []gauged) approachTo {
	hop := nearest(gs, p).place.Distance(p)
	a := approachTo{predicted: touched - expect(gs, p)}
	a.arrival, a.doubt = a.predicted+arriveAbove, gaugedSlope*hop
	if len(gs) < 2 {
		a.arrival += arriveSlope * hop
		a.doubt = unknownSlope * hop
	}
	a.floor = a.predicted - floorBelow - floorSlope*hop
	return a
}

// again returns the approach to a place recorded before: contact is the bed contact
// recorded there last, foretold what was predicted before that. A record far below the
// prediction may be one of a nozzle that stood in the bed: the nozzle comes as high then
// as if it were little below.
func again(contact, foretold, blade float64) approachTo {
	from := max(contact, foretold-arriveAgain)
	return approachTo{predicted: contact, arrival: from + blade + arriveAgain, floor: contact - floorBelow}
}

// back returns the approach to a place that was gauged at an earlier visit, with
// contact the bed contact recorded there and raw the gap error: that of a second
// record, unless the touches just made say that the frame has moved since by more
// than frameMoved; then it is predicted from them, and arrives no lower than for a
// second record. floor is how far below may be gone.
func back(touched, raw, contact, blade, floor float64) approachTo {
	p := touched - raw
	if math.Abs(p-contact) <= frameMoved {
		p = contact
	}
	return approachTo{predicted: p, arrival: max(p, contact) + blade + arriveAgain, floor: p - floor}
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

// maxStep returns the largest step that may be asked for at height z, mm. With
// r = z - predicted - blade and the doubt d of the prediction:
//
//	r > 0.10: half of the larger of r - d and min(r, 0.2);  r > 0.05: 0.05;  else 0.02
//
// rounded down to 0.001.
func (a approachTo) maxStep(z, blade float64) float64 {
	r := z - a.predicted - blade
	step := finest
	switch {
	case r > 0.10+1e-9:
		step = max(r-a.doubt, min(r, 0.2)) / 2
	case r > 0.05+1e-9:
		step = fine
	}
	return math.Floor(step*1000+1e-6) / 1000
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
	sorted := append([]gauged(nil), gs...)
	for i := range sorted {
		for k := i; k > 0 && sorted[k].place.Distance(p) < sorted[k-1].place.Distance(p); k-- {
			sorted[k], sorted[k-1] = sorted[k-1], sorted[k]
		}
	}
	return sorted[:min(n, len(sorted))]
}
