package bench

import "math"

// vec is a point or an offset: x, y, z in mm.
type vec [3]float64

func (a vec) add(b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// at returns the point a fraction f of the way from a to b.
func (a vec) at(b vec, f float64) vec {
	return vec{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1]), a[2] + f*(b[2]-a[2])}
}

func (a vec) length() float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }

// mat is a 3 x 3 rotation.
type mat [3]vec

// rotation returns Rz(c) Ry(b) Rx(a), right-handed, angles in rad about the
// fixed axes X, Y, Z in this order (A, B, C of ISO 841).
func rotation(a, b, c float64) mat {
	sa, ca := math.Sincos(a)
	sb, cb := math.Sincos(b)
	sc, cc := math.Sincos(c)
	return mat{
		{cc * cb, cc*sb*sa - sc*ca, cc*sb*ca + sc*sa},
		{sc * cb, sc*sb*sa + cc*ca, sc*sb*ca - cc*sa},
		{-sb, cb * sa, cb * ca},
	}
}

func (m mat) apply(v vec) vec {
	var w vec
	for i := range w {
		w[i] = m[i][0]*v[0] + m[i][1]*v[1] + m[i][2]*v[2]
	}
	return w
}

// Rotate returns an offset (x, y, z, mm) turned by the angles a, b, c (rad)
// about X, Y, Z exactly: Rz Ry Rx. It is what the virtual head does to its
// probe; exported so that a test can hold it against published values.
func Rotate(a, b, c float64, offset [3]float64) [3]float64 {
	return rotation(a, b, c).apply(offset)
}

// Rect is a rectangle on the bed, mm.
type Rect struct{ X0, Y0, X1, Y1 float64 }

func (r Rect) has(u, v float64) bool { return u >= r.X0 && u <= r.X1 && v >= r.Y0 && v <= r.Y1 }

func (r Rect) middle() (x, y float64) { return (r.X0 + r.X1) / 2, (r.Y0 + r.Y1) / 2 }

// Box is the nozzle's travel: lower and upper X, Y, Z, mm, in the machine's
// own coordinates.
type Box struct{ Min, Max [3]float64 }
