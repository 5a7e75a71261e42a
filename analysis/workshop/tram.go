package workshop

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"abbed/analysis/fit"
)

// Contact is a height at which the nozzle met the bed, mm, at the time T, s.
type Contact struct{ X, Y, Z, T float64 }

// Plane is the bed as the nozzle sees it, z = c + A x + B y: the straight part of a
// surface that may bend.
type Plane struct {
	A, B Value // slopes, mm per mm
	// Cov is their covariance, on the scale of their U squared.
	Cov float64
}

// What bed and beam may bend by over the contacts (the priors of the one model, roughly)
// and what heights may drift by while they are taken, standard deviations, mm. The order
// of visits goes along with the bends, so that neither can be left out. What bends more
// than once no screw can level: it is in the scatter.
const (
	bow, drifts = 0.10, 0.05
)

// Level fits a plane to what the nozzle met, with bends and an even drift beside it as
// far as they are likely, by least squares with priors as rows. hand is the standard
// deviation of a contact, mm; the doubt is larger where the contacts show it.
func Level(contacts []Contact, hand float64) (Plane, error) {
	if len(contacts) < 4 {
		return Plane{}, fmt.Errorf("workshop: %d contacts of the nozzle: a plane and its doubt need four or more", len(contacts))
	}
	lo, hi := contacts[0], contacts[0]
	for _, c := range contacts {
		lo = Contact{math.Min(lo.X, c.X), math.Min(lo.Y, c.Y), 0, math.Min(lo.T, c.T)}
		hi = Contact{math.Max(hi.X, c.X), math.Max(hi.Y, c.Y), 0, math.Max(hi.T, c.T)}
	}
	along := func(x, lo, hi float64) float64 { return (2*x - lo - hi) / math.Max(hi-lo, 1e-9) }
	var plain, rows [][]float64
	var z, w []float64
	for _, c := range contacts {
		t, s, time := along(c.X, lo.X, hi.X), along(c.Y, lo.Y, hi.Y), along(c.T, lo.T, hi.T)
		p2, q2 := (3*t*t-1)/2, (3*s*s-1)/2
		plain = append(plain, []float64{1, t, s})
		// Legendre terms, whose straight part is that of a plane through the surface.
		rows = append(rows, []float64{1, t, s, bow * p2, bow * q2, bow * t * s, drifts * time})
		z, w = append(z, c.Z), append(w, 1/(hand*hand))
	}
	r, err := fit.Least(plain, z, nil)
	if err != nil {
		return Plane{}, fmt.Errorf("workshop: %w", err)
	}
	if r.Rank < 3 {
		return Plane{}, errors.New("workshop: the contacts lie on one line: take readings in a second row, since one row does not show how the bed tilts across it")
	}
	for i := 3; i < len(rows[0]); i++ { // each of these is 0, give or take 1
		row := make([]float64, len(rows[0]))
		row[i] = 1
		rows, z, w = append(rows, row), append(z, 0), append(w, 1)
	}
	if r, err = fit.Least(rows, z, w); err != nil {
		return Plane{}, fmt.Errorf("workshop: %w", err)
	}
	s := math.Max(1, r.S())
	kx, ky := 2/(hi.X-lo.X), 2/(hi.Y-lo.Y)
	return Plane{A: Value{kx * r.Coef[1], kx * r.U(1, s)}, B: Value{ky * r.Coef[2], ky * r.U(2, s)}, Cov: kx * ky * s * s * r.Unscaled.At(1, 2)}, nil
}

// Support is a place where a screw holds the bed.
type Support struct{ X, Y float64 }

// Adjustment is how far to move one support.
type Adjustment struct {
	Support
	Up    Value // mm; below zero: down
	Turns Value // of its screw, as Up
	// Stays says that the others are moved against this one.
	Stays bool
	// Eighths of a turn, the nearest; 0 where the movement is less than its doubt.
	Eighths int
}

// Tram returns how far each support has to go so that the bed lies level to the nozzle,
// which sees it as p. pitch is by how much a turn of a screw moves it, mm. One support
// stays: the one with which all of them together move least. It comes first, and the
// others in the order in which to turn them: crosswise, so that of four the one across
// comes next.
func Tram(p Plane, supports []Support, pitch float64) ([]Adjustment, error) {
	if len(supports) < 3 {
		return nil, fmt.Errorf("workshop: %d supports: three or more hold a bed", len(supports))
	}
	if !(pitch > 0) || math.IsInf(pitch, 0) {
		return nil, fmt.Errorf("workshop: a thread of pitch %g mm", pitch)
	}
	order := slices.Clone(supports)
	stays := least(p, order)
	order[0], order[stays] = order[stays], order[0]
	first := order[0]
	far := func(s Support) float64 { return math.Hypot(s.X-first.X, s.Y-first.Y) }
	if len(supports) > 3 {
		slices.SortStableFunc(order[1:], func(a, b Support) int { return cmp.Compare(far(b), far(a)) })
	}
	wide := false
	out := make([]Adjustment, len(order))
	for i, s := range order {
		dx, dy := s.X-first.X, s.Y-first.Y
		wide = wide || math.Abs(dx*(order[1].Y-first.Y)-dy*(order[1].X-first.X)) > 2
		variance := p.A.U*p.A.U*dx*dx + p.B.U*p.B.U*dy*dy + 2*p.Cov*dx*dy
		up := Value{-(p.A.Value*dx + p.B.Value*dy), math.Sqrt(max(variance, 0))}
		out[i] = Adjustment{Support: s, Stays: i == 0, Up: up, Turns: Value{up.Value / pitch, up.U / pitch}}
		if math.Abs(up.Value) > up.U95() {
			out[i].Eighths = int(math.Round(8 * up.Value / pitch))
		}
	}
	if !wide {
		return nil, errors.New("workshop: the supports lie on one line or on each other: say where each of them is")
	}
	return out, nil
}

// least is the support with which, if it stays, the others move least in all: the one of
// the middle height. Of several the first.
func least(p Plane, s []Support) (stays int) {
	best := math.Inf(1)
	for i := range s {
		all := 0.0
		for _, x := range s {
			all += math.Abs(p.A.Value*(x.X-s[i].X) + p.B.Value*(x.Y-s[i].Y))
		}
		if all < best-1e-9 {
			stays, best = i, all
		}
	}
	return stays
}
