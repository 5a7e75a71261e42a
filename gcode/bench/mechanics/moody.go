package mechanics

// moodyLines are the station heights, um, of the surface plate measured by
// J. C. Moody (How to calibrate surface plates in the plant, The Tool
// Engineer, October 1955), eight autocollimator lines on a 48 x 72 in plate,
// numbers as corrected in the public data set ballen4705/Moody-Method. Each
// line runs from its first to its second corner or side; plate coordinates
// are -1..1, E = +x, N = +y.
var moodyLines = []struct {
	x0, y0, x1, y1 float64
	um             []float64
}{
	{-1, 1, 1, -1, []float64{1.576, 2.266, 2.709, 2.66, 2.709, 2.906, 3.152, 3.349, 3.3, 3.497, 3.349, 3.3, 3.349, 3.448, 3.349, 3.103, 2.66, 2.758, 2.66, 2.364, 1.576}},
	{1, 1, -1, -1, []float64{.739, 1.606, 1.882, 2.157, 2.335, 2.66, 3.083, 3.162, 3.241, 3.517, 3.349, 3.133, 2.965, 2.798, 2.778, 2.463, 2.148, 1.832, 1.813, 1.547, .739}},
	{1, 1, -1, 1, []float64{.739, 1.404, 1.675, 2.34, 2.906, 3.423, 3.793, 3.719, 3.891, 3.719, 3.448, 3.226, 2.955, 2.586, 2.266, 2.192, 1.576}},
	{1, 1, 1, -1, []float64{.739, .936, .443, .148, 0, .148, .197, .394, .837, 1.379, 1.576}},
	{1, -1, -1, -1, []float64{1.576, 2.475, 2.685, 3.189, 3.645, 3.904, 4.261, 4.519, 4.532, 4.248, 3.719, 3.189, 2.561, 1.933, 1.355, 1.071, .739}},
	{-1, 1, -1, -1, []float64{1.576, 1.882, 1.497, 1.064, .729, .542, .108, .365, .67, .975, .739}},
	{1, 0, -1, 0, []float64{.493, .763, 1.379, 1.847, 2.512, 2.931, 3.103, 3.276, 3.349, 3.423, 3.005, 2.832, 2.414, 1.847, 1.625, 1.256, .887}},
	{0, 1, 0, -1, []float64{3.891, 3.842, 3.694, 3.497, 3.399, 3.349, 3.448, 3.842, 4.187, 4.384, 4.532}},
}

// moodyPeak is the plate's flatness, um.
const moodyPeak = 4.53165

// Moody returns the real plate laid over the bed, its flatness (peak to
// valley, 4.53 um on the plate) magnified to the height given, mm. Between the
// lines the nearest point of each line counts with the inverse fourth power of
// its distance, so that every station nearly keeps its own height.
func Moody(bed Rect, height float64) Shape {
	factor := height / moodyPeak
	return func(u, v float64) float64 {
		t, s := scaled(bed, u, v)
		return factor * moodyAt(t, s)
	}
}

// moodyAt returns the plate's height in um at plate coordinates. The plate is
// held beyond its rim.
func moodyAt(x, y float64) float64 {
	x, y = max(-1, min(1, x)), max(-1, min(1, y))
	const blur = 0.02 // keeps the crossings smooth, in half widths
	var sum, weight float64
	for _, l := range moodyLines {
		dx, dy := l.x1-l.x0, l.y1-l.y0
		f := max(0, min(1, ((x-l.x0)*dx+(y-l.y0)*dy)/(dx*dx+dy*dy)))
		ex, ey := x-l.x0-f*dx, y-l.y0-f*dy
		d2 := ex*ex + ey*ey + blur*blur
		w := 1 / (d2 * d2)
		sum += w * along(l.um, f)
		weight += w
	}
	return sum / weight
}

// along interpolates a line of stations at a fraction of its length.
func along(z []float64, f float64) float64 {
	p := f * float64(len(z)-1)
	i := min(int(p), len(z)-2)
	return z[i] + (p-float64(i))*(z[i+1]-z[i])
}
