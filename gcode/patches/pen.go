package patches

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Decimals of what is written: E so that a patch's whole is right to 1e-9.
const (
	placesXY = 5
	placesE  = 9
)

// pen writes moves.
type pen struct {
	b    *bytes.Buffer
	p    Print
	e    float64 // mm of filament since the last G92 E0
	back bool    // the filament is drawn back
}

func decimal(v float64, places int) string {
	s := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return s
}

// lift draws the filament back and raises the nozzle straight up.
func (f *pen) lift() {
	if f.back = f.e > 0 && f.p.Settings.Retract > 0; f.back {
		fmt.Fprintf(f.b, "G1 E%s F1800\n", decimal(f.e-f.p.Settings.Retract, placesE))
	}
	fmt.Fprintf(f.b, "G1 Z%s F%s\n", decimal(f.p.Settings.Clearance, 4), decimal(60*f.p.Settings.Lift, 3))
}

// begin travels at the clearance to where a stroke begins, and goes straight down.
func (f *pen) begin(x, y float64) {
	s := f.p.Settings
	fmt.Fprintf(f.b, "G0 X%s Y%s F%s\n", decimal(x, placesXY), decimal(y, placesXY), decimal(60*s.Travel, 3))
	fmt.Fprintf(f.b, "G1 Z%s F%s\n", decimal(s.Height, 4), decimal(60*s.Lift, 3))
	if f.back {
		fmt.Fprintf(f.b, "G1 E%s F1800\n", decimal(f.e, placesE))
	}
	f.b.WriteString("G92 E0\n")
	f.e, f.back = 0, false
	fmt.Fprintf(f.b, "G1 F%s\n", decimal(60*s.Speed, 3))
}

// fill is the filament for a volume, mm.
func (f *pen) fill(volume float64) float64 {
	d := f.p.Settings.Filament
	return volume / (math.Pi * d * d / 4)
}

// prime lays a line at the front, so that the nozzle flows.
func (f *pen) prime() {
	l := f.p.prime
	f.b.WriteString("; the prime line: throw it away\n")
	f.begin(l.x0, l.y0)
	f.e = f.fill((l.x1 - l.x0 + f.p.shape.w) * f.p.shape.w * f.p.Settings.Height)
	fmt.Fprintf(f.b, "G1 X%s Y%s E%s\n", decimal(l.x1, placesXY), decimal(l.y1, placesXY), decimal(f.e, placesE))
	f.lift()
}

// patch prints one: the volume is shared out by the length of the way, and the
// last word of E is the whole.
func (f *pen) patch(q Patch) {
	h := f.p.shape
	way := h.stroke(q.U, q.V)
	fmt.Fprintf(f.b, "; patch %d at x %.2f y %.2f\n", q.N, q.U, q.V)
	f.begin(way[0][0], way[0][1])
	whole, length, gone := f.fill(h.area()*f.p.Settings.Height), h.area()/h.w-h.w, 0.0
	for i := 1; i < len(way); i++ {
		gone += math.Hypot(way[i][0]-way[i-1][0], way[i][1]-way[i-1][1])
		f.e = whole * gone / length
		fmt.Fprintf(f.b, "G1 X%s Y%s E%s\n", decimal(way[i][0], placesXY), decimal(way[i][1], placesXY), decimal(f.e, placesE))
	}
	f.lift()
}
