package mechanics

// Turned returns a plate's shape once the plate is turned about the bed's middle
// by so many quarters, counter-clockwise seen from above: what lies at a place
// now lay before where the turn is undone.
func Turned(bed Rect, plate Shape, quarters int) Shape {
	xc, yc := bed.Middle()
	return func(u, v float64) float64 {
		x, y := u-xc, v-yc
		for range ((quarters % 4) + 4) % 4 {
			x, y = y, -x
		}
		return plate(xc+x, yc+y)
	}
}

// Bar returns a bed on which a straight bar lies along X: from x0 to x1, its
// middle line at y, so wide and thick; its upper side deviates from straight by
// bend, mm, at the end of the bed's width, as a parabola.
func Bar(bed Rect, under Shape, y, x0, x1, wide, thick, bend float64) Shape {
	return func(u, v float64) float64 {
		if u < x0 || u > x1 || v < y-wide/2 || v > y+wide/2 {
			return under(u, v)
		}
		t, _ := scaled(bed, u, v)
		return thick + bend*t*t
	}
}
