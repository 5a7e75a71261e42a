package patches

// line is a straight way in X and Y.
type line struct{ x0, y0, x1, y1 float64 }

// stroke returns the corners of the way that covers a patch in the middle (u, v):
// the tab's lines first, each half a width inside the edges.
func (h shape) stroke(u, v float64) [][2]float64 {
	var out [][2]float64
	left, half := u-h.size/2, h.w/2
	y := v - h.size/2 - h.w*float64(h.tabs) + half
	for k := range h.tabs + h.lines {
		a, b := left+half, left+h.size-half
		if k < h.tabs {
			b = left + h.tab - half
		}
		if k%2 == 1 {
			a, b = b, a
		}
		out = append(out, [2]float64{a, y}, [2]float64{b, y})
		y += h.w
	}
	return out
}
