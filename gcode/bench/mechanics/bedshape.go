package mechanics

import "math"

// Shape is a bed's own height over its place, mm over mm.
type Shape func(u, v float64) float64

// Dish returns a bed that is high (depth > 0: low in the middle) at its rim
// by the depth at the ends of both middle lines together, mm.
func Dish(bed Rect, depth float64) Shape {
	return func(u, v float64) float64 {
		t, s := scaled(bed, u, v)
		return depth / 2 * (t*t + s*s)
	}
}

// Trough returns a bed bent along X only, alike from front to back: its ends
// are higher than the middle by the depth, mm. In a map it looks like a beam.
func Trough(bed Rect, depth float64) Shape {
	return func(u, v float64) float64 {
		t, _ := scaled(bed, u, v)
		return depth * t * t
	}
}

// Waves returns an uneven bed: amplitude in mm, about one and a half waves
// over its width and one over its depth, not aligned with either axis alone.
func Waves(bed Rect, amplitude float64) Shape {
	return func(u, v float64) float64 {
		t, s := scaled(bed, u, v)
		return amplitude * math.Sin(4.7*t+1.1*s) * math.Cos(3.1*s-0.4*t)
	}
}

// Sum adds shapes.
func Sum(shapes ...Shape) Shape {
	return func(u, v float64) float64 {
		z := 0.0
		for _, s := range shapes {
			z += s(u, v)
		}
		return z
	}
}

// scaled returns the place on -1..1 over the bed.
func scaled(bed Rect, u, v float64) (t, s float64) {
	xc, yc := bed.Middle()
	return 2 * (u - xc) / (bed.X1 - bed.X0), 2 * (v - yc) / (bed.Y1 - bed.Y0)
}
