package mechanics

import "math"

// Vec is a point or an offset: x, y, z in mm.
type Vec [3]float64

// Add returns a + b, Sub a - b.
func (a Vec) Add(b Vec) Vec { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a Vec) Sub(b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// At returns the point a fraction f of the way from a to b.
func (a Vec) At(b Vec, f float64) Vec {
	return Vec{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1]), a[2] + f*(b[2]-a[2])}
}

// Length is its length, mm.
func (a Vec) Length() float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }

// Mat is a 3 x 3 rotation.
type Mat [3]Vec

// Rotation returns Rz(c) Ry(b) Rx(a), right-handed, angles in rad about the
// fixed axes X, Y, Z in this order (A, B, C of ISO 841).
func Rotation(a, b, c float64) Mat {
	sa, ca := math.Sincos(a)
	sb, cb := math.Sincos(b)
	sc, cc := math.Sincos(c)
	return Mat{
		{cc * cb, cc*sb*sa - sc*ca, cc*sb*ca + sc*sa},
		{sc * cb, sc*sb*sa + cc*ca, sc*sb*ca - cc*sa},
		{-sb, cb * sa, cb * ca},
	}
}

// Apply returns v turned.
func (m Mat) Apply(v Vec) Vec {
	var w Vec
	for i := range w {
		w[i] = m[i][0]*v[0] + m[i][1]*v[1] + m[i][2]*v[2]
	}
	return w
}

// Rect is a rectangle on the bed, mm.
type Rect struct{ X0, Y0, X1, Y1 float64 }

// Has tells whether (u, v) lies on it.
func (r Rect) Has(u, v float64) bool { return u >= r.X0 && u <= r.X1 && v >= r.Y0 && v <= r.Y1 }

// Middle is its middle.
func (r Rect) Middle() (x, y float64) { return (r.X0 + r.X1) / 2, (r.Y0 + r.Y1) / 2 }

// Box is the nozzle's travel: lower and upper X, Y, Z, mm, in the machine's
// own coordinates.
type Box struct{ Min, Max [3]float64 }
