package workshop

import (
	"errors"
	"fmt"
	"math"

	"abbed/analysis/fit"
)

// Contact is a height at which the nozzle met the bed, mm, at the time T, s.
type Contact struct{ X, Y, Z, T float64 }

// Plane is the bed as the nozzle sees it, z = c + A x + B y + drift.
type Plane struct {
	A, B Value // slopes, mm per mm
	// Cov is their covariance, on the scale of their U squared.
	Cov float64
	// Drift is by how much all heights moved from the first contact to the last, mm;
	// nil where too few contacts, or places that were visited as time went on, cannot
	// tell it from the slopes. Then it is in them.
	Drift *Value
	// Off is the standard deviation of the contacts about the plane, mm: the bed's
	// own shape, the beam's straightness, and the hand. DoF are its degrees of
	// freedom, from which the slopes' uncertainties come.
	Off, DoF float64
}

// spare are the degrees of freedom that have to be left once the drift is asked for:
// with fewer, Student's t makes the doubt of everything useless.
const spare = 3

// Level fits a plane, and a drift even in time, to what the nozzle met, by least
// squares. The doubt of the slopes comes from what the contacts leave it by, and
// holds what the drift makes unsure; it is widened for few contacts (Student's t
// over the normal law), so that twice U is the 95 % interval.
func Level(contacts []Contact) (Plane, error) {
	if len(contacts) < 4 {
		return Plane{}, fmt.Errorf("workshop: %d contacts of the nozzle: a plane and its doubt need four or more", len(contacts))
	}
	if len(contacts) >= 4+spare {
		if p, err := level(contacts, true); err == nil {
			return p, nil
		}
	}
	return level(contacts, false)
}

func level(contacts []Contact, drifting bool) (Plane, error) {
	var mid Contact
	first, last, n := math.Inf(1), math.Inf(-1), float64(len(contacts))
	for _, c := range contacts {
		mid.X, mid.Y, mid.T = mid.X+c.X/n, mid.Y+c.Y/n, mid.T+c.T/n
		first, last = math.Min(first, c.T), math.Max(last, c.T)
	}
	terms := 3
	if drifting {
		terms = 4
		if !(last > first) {
			return Plane{}, errors.New("workshop: the contacts have no times")
		}
	}
	var rows [][]float64
	var z []float64
	for _, c := range contacts {
		rows = append(rows, []float64{1, c.X - mid.X, c.Y - mid.Y, (c.T - mid.T) / (last - first)}[:terms])
		z = append(z, c.Z)
	}
	r, err := fit.Least(rows, z, nil)
	if err != nil {
		return Plane{}, fmt.Errorf("workshop: %w", err)
	}
	if r.Rank < terms {
		return Plane{}, errors.New("workshop: the contacts lie on one line: gauge places in a second row, since one row does not tell how the bed tilts across it")
	}
	s, k := r.S(), fit.T95(r.DoF)/2
	p := Plane{A: Value{r.Coef[1], k * r.U(1, s)}, B: Value{r.Coef[2], k * r.U(2, s)}, Off: s, DoF: r.DoF}
	p.Cov = k * k * s * s * r.Unscaled.At(1, 2)
	if drifting {
		p.Drift = &Value{r.Coef[3], k * r.U(3, s)}
	}
	return p, nil
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
	// Sure says that the movement is more than its doubt.
	Sure bool
	// Follows: three supports carry a plane; this one only follows.
	Follows bool
}

// Tram returns how far each support has to go so that the bed lies level to the
// nozzle, which sees it as p. pitch is by how much a turn of a screw moves it, mm. One
// support stays: the one with which all of them together move least. Three supports carry
// a plane. Of four or more, the two that span the largest triangle with the one that stays
// carry it; the others follow: they are brought up to the bed last, since they would bend
// it.
func Tram(p Plane, supports []Support, pitch float64) ([]Adjustment, error) {
	if len(supports) < 3 {
		return nil, fmt.Errorf("workshop: %d supports: three or more hold a bed", len(supports))
	}
	if !(pitch > 0) || math.IsInf(pitch, 0) {
		return nil, fmt.Errorf("workshop: a thread of pitch %g mm", pitch)
	}
	stays := least(p, supports)
	j, k, area := widest(supports, stays)
	if !(area > 1) {
		return nil, errors.New("workshop: the supports lie on one line or on each other: say where each of them is")
	}
	out := make([]Adjustment, len(supports))
	for i, s := range supports {
		dx, dy := s.X-supports[stays].X, s.Y-supports[stays].Y
		variance := p.A.U*p.A.U*dx*dx + p.B.U*p.B.U*dy*dy + 2*p.Cov*dx*dy
		up := Value{-(p.A.Value*dx + p.B.Value*dy), math.Sqrt(max(variance, 0))}
		out[i] = Adjustment{s, up, Value{up.Value / pitch, up.U / pitch}, i == stays, math.Abs(up.Value) > up.U95(), i != stays && i != j && i != k}
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

// widest finds the two supports that span the largest triangle with the one that stays.
func widest(s []Support, stays int) (j, k int, area float64) {
	o := s[stays]
	for a := range s {
		for b := a + 1; b < len(s); b++ {
			t := math.Abs((s[a].X-o.X)*(s[b].Y-o.Y)-(s[b].X-o.X)*(s[a].Y-o.Y)) / 2
			if t > area {
				j, k, area = a, b, t
			}
		}
	}
	return j, k, area
}
