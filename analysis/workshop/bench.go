package workshop

import (
	"fmt"
	"math"
)

// Value is a number with its standard uncertainty.
type Value struct {
	Value float64 `json:"value"`
	U     float64 `json:"u"`
}

// U95 returns the half width of the 95 % interval.
func (v Value) U95() float64 { return 2 * v.U }

// Profile is what was measured of a profile on a flat reference: three corners
// down, a gap under the fourth.
type Profile struct {
	Gap    Value   // under the free corner
	Width  Value   // across, from edge to edge on the reference
	Height float64 // the other side of the section; 0: as wide
	Length Value   // between the ends that touch
	Grade  Grade   // of the reference
}

// Grade is a flatness grade of DIN 876; Perfect takes the reference as flat.
type Grade int

// Grades of DIN 876: 4 + L/250, 10 + L/100, 20 + L/50, 40 + L/25, um, L in mm (two
// pages agree, read; design notes of this project).
const (
	Perfect Grade = iota
	Grade0
	Grade1
	Grade2
	Grade3
)

// flatness returns the width of the band that holds the reference, mm.
func (g Grade) flatness(length float64) float64 {
	switch g {
	case Grade0:
		return (4 + length/250) / 1000
	case Grade1:
		return (10 + length/100) / 1000
	case Grade2:
		return (20 + length/50) / 1000
	case Grade3:
		return (40 + length/25) / 1000
	}
	return 0
}

// Verdict compares a twist with what is allowed.
type Verdict string

// Verdicts.
const (
	Within     Verdict = "within"
	Beyond     Verdict = "beyond"
	CannotTell Verdict = "cannot-tell" // the doubt reaches over the limit
)

// Twist is what a profile's gap tells.
type Twist struct {
	Deg        Value   // over the length measured
	PerMetre   Value   // deg per m
	AllowedDeg float64 // over that length
	Verdict    Verdict
}

// Check returns the twist asin(gap / width) with its uncertainty: of gap and
// width, of the length (for the rate), and of the reference, whose band of flatness
// counts as a rectangle (a/sqrt 12, JCGM 100:2008 4.3.7) at each of four corners: the
// gap is one corner's height less those of two others plus the third's.
func Check(p Profile) (Twist, error) {
	for name, v := range map[string]float64{"width": p.Width.Value, "length": p.Length.Value} {
		if !(v > 0) || math.IsInf(v, 0) {
			return Twist{}, fmt.Errorf("workshop: %s %g mm: a length above zero is needed", name, v)
		}
	}
	if !(p.Gap.Value >= 0) || p.Gap.Value >= p.Width.Value {
		return Twist{}, fmt.Errorf("workshop: gap %g mm under a profile %g mm wide: it lies between zero and the width", p.Gap.Value, p.Width.Value)
	}
	if !(p.Gap.U >= 0) || !(p.Width.U >= 0) || !(p.Length.U >= 0) || !(p.Height >= 0) {
		return Twist{}, fmt.Errorf("workshop: uncertainties and height are zero or more")
	}
	sin := p.Gap.Value / p.Width.Value
	a := math.Asin(sin)
	gap := math.Hypot(p.Gap.U, 2*p.Grade.flatness(p.Length.Value)/math.Sqrt(12))
	u := math.Hypot(gap/p.Width.Value, sin*p.Width.U/p.Width.Value) / math.Cos(a)
	t := Twist{Deg: Value{deg(a), deg(u)}, AllowedDeg: Allowed(p.Width.Value, p.Height, p.Length.Value)}
	rate := 1000 / p.Length.Value
	t.PerMetre = Value{t.Deg.Value * rate, rate * math.Hypot(t.Deg.U, t.Deg.Value*p.Length.U/p.Length.Value)}
	t.Verdict = t.Deg.Against(t.AllowedDeg)
	return t, nil
}

// Against compares the size of v with a limit.
func (v Value) Against(limit float64) Verdict {
	switch size := math.Abs(v.Value); {
	case size+v.U95() <= limit:
		return Within
	case size-v.U95() > limit:
		return Beyond
	}
	return CannotTell
}

// Edges is by how much an extruded profile bears on less than its width, mm: both its
// edges are rounded (common practice, no source; of some 20 mm it bears on 17).
const Edges = 3

// Allowed returns the twist that an extruded profile may have over a length, deg:
// by its circumscribing circle below 40 mm 3 deg/m and 7 deg at most, 40 to 80 mm
// 1.5 and 5, from 80 mm 1 and 3 (ANSI H35.2, an extruder's extract; read in one
// place only). A height of 0 is a square.
func Allowed(width, height, length float64) float64 {
	if height == 0 {
		height = width
	}
	rate, most := 1.0, 3.0
	switch circle := math.Hypot(width, height); {
	case circle < 40:
		rate, most = 3, 7
	case circle < 80:
		rate, most = 1.5, 5
	}
	return math.Min(rate*length/1000, most)
}

// Cost returns what a roll costs at the nozzle with a lever: lever x sin roll (the
// sine is Abbe's: 1000 mm x 1 deg = 17.4524 mm).
func Cost(lever float64, roll Value) Value {
	s, c := math.Sincos(roll.Value)
	return Value{lever * s, math.Abs(lever * c * roll.U)}
}

func deg(rad float64) float64 { return rad * 180 / math.Pi }

// Rad returns v, given in degrees, in radians.
func Rad(v Value) Value { return Value{v.Value * math.Pi / 180, v.U * math.Pi / 180} }
