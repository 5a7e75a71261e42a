package model

import (
	"math"

	"abbed/probe/record"
)

// Motion is an error motion in the names of ISO 230-1: of the X carriage along
// its travel, of the Y axis along its own.
type Motion int

// The motions: roll, pitch and straightness of the X carriage; straightness,
// pitch and roll of the Y axis.
const (
	EAX Motion = iota
	EBX
	EZX
	EZY
	EAY
	EBY
	// Give is what no rigid motion makes.
	Give
	motions = Give
)

var motionNames = [Give + 1]string{"EAX", "EBX", "EZX", "EZY", "EAY", "EBY", "give"}

func (m Motion) String() string { return motionNames[m] }

// OfX says whether the motion belongs to the X carriage.
func (m Motion) OfX() bool { return m <= EZX }

// Degree is the highest degree of the Legendre series of each motion. Degree 0
// is the level, which every instrument has a constant for.
const Degree = 6

// Bed is the highest total degree of the bed's series in both coordinates.
const Bed = 6

// Machine is what is known of a printer before anything is measured.
type Machine struct {
	Lever  record.Lever
	Layout record.Layout
	// Bed is where the coordinates of the bed's series run from -1 to 1, Travel
	// where those of the motions do: probe and nozzle both stay within it.
	Bed, Travel record.Rect
	// Rest is what a map's left-right profile shows beyond the smooth series, mm at u;
	// nil for none. How much of it is gap error is an unknown of its own.
	Rest func(u float64) float64
}

// The unknowns, in the order of a Row: Degree coefficients for each motion, the
// give, and the bed's. Constants and the drift of the readings follow in Data.
const (
	gives    = 6 // and the share of Rest behind them
	beds     = (Bed+1)*(Bed+2)/2 - 1
	firstOut = int(motions) * Degree // of the give
	share    = firstOut + gives
	firstBed = share + 1
	width    = firstBed + beds
)

// Row holds the coefficients of an observation or a prediction over the unknowns.
type Row [width]float64

// Minus returns a - b: a contrast.
func (a Row) Minus(b Row) Row {
	for i := range a {
		a[i] -= b[i]
	}
	return a
}

// Plus returns a + b.
func (a Row) Plus(b Row) Row {
	for i := range a {
		a[i] += b[i]
	}
	return a
}

// Times returns k a.
func (a Row) Times(k float64) Row {
	for i := range a {
		a[i] *= k
	}
	return a
}

// Of keeps what the motions that pass make in the row; the bed goes.
func (a Row) Of(pass func(Motion) bool) Row {
	for i := range a {
		if i >= firstBed || !pass(Motion(min(i/Degree, int(Give)))) {
			a[i] = 0
		}
	}
	return a
}

// along scales a coordinate to -1..1 over lo..hi.
func along(x, lo, hi float64) float64 { return (2*x - lo - hi) / math.Max(hi-lo, 1) }

// Legendre sets p to P_0 .. P_n of x by Bonnet's recursion; p holds two or more.
func Legendre(x float64, p []float64) {
	p[0], p[1] = 1, x
	for k := 2; k < len(p); k++ {
		m := float64(k)
		p[k] = ((2*m-1)*x*p[k-1] - (m-1)*p[k-2]) / m
	}
}

// Legendres are P_0 .. P_n of x, scaled to -1..1 over lo..hi.
func Legendres(x, lo, hi float64, n int) []float64 {
	p := make([]float64, n+1)
	Legendre(along(x, lo, hi), p)
	return p
}

// add puts c times a motion at x of its travel into the row.
func (m Machine) add(r *Row, of Motion, x, c float64) {
	lo, hi := m.Travel.X0, m.Travel.X1
	if !of.OfX() {
		lo, hi = m.Travel.Y0, m.Travel.Y1
	}
	var p [Degree + 1]float64
	Legendre(along(x, lo, hi), p[:])
	for d := 1; d <= Degree; d++ {
		r[int(of)*Degree+d-1] += c * p[d]
	}
}

// short is the lever along Y, mm, below which the Y axis makes next to nothing.
const short = 8

// Gap returns the row of m - n at p, map less nozzle, by the small-angle formulas
// of the design: mm over rad and mm.
//
//	-py EAX(u-px) + px EBX(u-px) + EZX(u) - EZX(u-px)
//	moving bed:    + EZY(v-py) - EZY(v) + (v-yc)[EAY(v-py) - EAY(v)] - (u-xc)[EBY(v-py) - EBY(v)]
//	moving gantry: + EZY(v) - EZY(v-py) - py EAY(v-py) + (u-xc)[EBY(v-py) - EBY(v)]
//
// and the give: what no rigid motion makes (a frame that yields, a slack belt),
// t^2 s, t s^2 and t^2 s^2 less their means, with a lever along X also s, s^2 and t s,
// which no motion of the Y axis has the means to make then; and a share of Rest.
func (m Machine) Gap(p record.Place) Row {
	var r Row
	px, py, c := m.Lever.X, m.Lever.Y, m.Bed.Middle()
	m.add(&r, EAX, p.U-px, -py)
	m.add(&r, EBX, p.U-px, px)
	m.add(&r, EZX, p.U, 1)
	m.add(&r, EZX, p.U-px, -1)
	if m.Layout == record.MovingGantry {
		m.add(&r, EZY, p.V, 1)
		m.add(&r, EZY, p.V-py, -1)
		m.add(&r, EAY, p.V-py, -py)
		m.add(&r, EBY, p.V-py, p.U-c.U)
		m.add(&r, EBY, p.V, c.U-p.U)
	} else {
		m.add(&r, EZY, p.V-py, 1)
		m.add(&r, EZY, p.V, -1)
		m.add(&r, EAY, p.V-py, p.V-c.V)
		m.add(&r, EAY, p.V, c.V-p.V)
		m.add(&r, EBY, p.V-py, c.U-p.U)
		m.add(&r, EBY, p.V, p.U-c.U)
	}
	t, s := along(p.U, m.Bed.X0, m.Bed.X1), along(p.V, m.Bed.Y0, m.Bed.Y1)
	p2, q2 := (3*t*t-1)/2, (3*s*s-1)/2
	r[firstOut], r[firstOut+1], r[firstOut+2] = p2*s, t*q2, p2*q2
	if math.Abs(py) < short {
		r[firstOut+3], r[firstOut+4], r[firstOut+5] = s, q2, t*s
	}
	if m.Rest != nil {
		r[share] = m.Rest(p.U)
	}
	return r
}

// Map returns the row of what the probe reports at p, mm: the surface as the nozzle
// meets it (bed, straightness, what the Y axis does, all in one), and the gap error
// on top. What of the surface is bed and what is way no map tells, and nothing here
// leans on it.
func (m Machine) Map(p record.Place) Row {
	r := m.Gap(p).Plus(m.Surface(p))
	r[share] = 0 // the map has all of it, whoever makes it
	return r
}

// Laid returns the row of what the probe reports on a straight reference, mm: no bed,
// less EZX(u-px) + D(u-px), with what the Y axis does at v-py where the touch happens.
func (m Machine) Laid(p record.Place) Row {
	var r Row
	px, py, c := m.Lever.X, m.Lever.Y, m.Bed.Middle()
	m.add(&r, EAX, p.U-px, -py)
	m.add(&r, EBX, p.U-px, px)
	m.add(&r, EZX, p.U-px, -1)
	if m.Layout == record.MovingGantry {
		m.add(&r, EZY, p.V-py, -1)
		m.add(&r, EAY, p.V-py, -py)
		m.add(&r, EBY, p.V-py, p.U-c.U)
	} else {
		m.add(&r, EZY, p.V-py, 1)
		m.add(&r, EAY, p.V-py, p.V-c.V)
		m.add(&r, EBY, p.V-py, c.U-p.U)
	}
	return r
}

// Surface returns the row of the bed's series at p.
func (m Machine) Surface(p record.Place) Row {
	var r Row
	var t, s [Bed + 1]float64
	Legendre(along(p.U, m.Bed.X0, m.Bed.X1), t[:])
	Legendre(along(p.V, m.Bed.Y0, m.Bed.Y1), s[:])
	k := firstBed
	for n := 1; n <= Bed; n++ {
		for i := n; i >= 0; i-- {
			r[k] = t[i] * s[n-i]
			k++
		}
	}
	return r
}

// Share returns the row of the share of Rest that is gap error.
func (m Machine) Share() Row {
	var r Row
	r[share] = 1
	return r
}

// Angle returns the row of a motion itself at x of its travel: what a level at the
// head reads, up to the constant of its mounting, rad.
func (m Machine) Angle(of Motion, x float64) Row {
	var r Row
	m.add(&r, of, x, 1)
	return r
}
