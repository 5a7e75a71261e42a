package patches

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
)

// Patch is one patch; U and V are the middle of its square, where it is measured.
type Patch struct {
	N    int     `json:"n"` // from 1
	U    float64 `json:"u"`
	V    float64 `json:"v"`
	Zero bool    `json:"zero,omitempty"` // stands at the zero place
}

// Print is a plan that can be printed. Immutable.
type Print struct {
	Settings Settings
	Bed      Rect
	Patches  []Patch
	// Plan names the layout, so that a number on a worksheet means one place.
	Plan string

	shape shape
	prime line
}

// most patches of one print: a person measures each of them.
const most = 100

// shape is the square with its tab, relative to the square's middle.
type shape struct {
	w           float64 // width of a line, mm
	lines, tabs int
	size, tab   float64 // lengths of their lines
}

// shaped fits whole lines into the size; the tab has an even number of lines, so
// that the stroke comes back to the left.
func (s Settings) shaped() shape {
	n := max(int(math.Round(s.Size/s.Width)), 2)
	w := s.Size / float64(n)
	tabs := max(2*int(math.Round(s.Size/5/w/2)), 2)
	return shape{w: w, lines: n, tabs: tabs, size: s.Size, tab: s.Size / 2.5}
}

// area returns the patch's area, mm2.
func (h shape) area() float64 {
	return h.w * (float64(h.lines)*h.size + float64(h.tabs)*h.tab)
}

// around is what a patch in the middle (u, v) covers.
func (h shape) around(u, v float64) Rect {
	return Rect{u - h.size/2, v - h.size/2 - h.w*float64(h.tabs), u + h.size/2, v + h.size/2}
}

// Area returns the area of one patch, mm2, as it is printed.
func (p Print) Area() float64 { return p.shape.area() }

// Plan lays patches out: one at zero, and columns and rows over the area as far
// as bed and travel of the nozzle hold whole patches; a patch of these that
// would touch the one at zero is left out. The first is the one at zero.
func Plan(s Settings, bed, travel, area Rect, zeroU, zeroV float64) (Print, error) {
	if err := s.check(); err != nil {
		return Print{}, fmt.Errorf("patches: %w", err)
	}
	s.Height = math.Round(1e4*s.Height) / 1e4 // as it is written
	h := s.shaped()
	p := Print{Settings: s, Bed: bed, shape: h}
	room := bed.grown(-s.Margin).meet(travel)
	if !room.holds(h.around(zeroU, zeroV)) {
		return p, fmt.Errorf("patches: the patch at the zero place (%.1f, %.1f) does not lie within the bed and the nozzle's travel, %.1f mm inside: make the patches smaller (proof.size)", zeroU, zeroV, s.Margin)
	}
	// The prime line takes the front.
	p.prime = line{room.X0 + h.w/2, room.Y0 + h.w/2, math.Min(room.X1, room.X0+100) - h.w/2, room.Y0 + h.w/2}
	room.Y0 += 2*h.w + 1
	in := area.meet(Rect{room.X0 + h.size/2, room.Y0 + h.size/2 + h.w*float64(h.tabs), room.X1 - h.size/2, room.Y1 - h.size/2})
	if in.X1-in.X0 < h.size || in.Y1-in.Y0 < h.size {
		return p, fmt.Errorf("patches: the area from (%.0f, %.0f) to (%.0f, %.0f) has no room for two patches of %g mm each way: make them smaller (proof.size)", area.X0, area.Y0, area.X1, area.Y1, s.Size)
	}
	if !room.holds(h.around(zeroU, zeroV)) {
		return p, fmt.Errorf("patches: the patch at the zero place lies on the prime line at the front: make the patches smaller (proof.size)")
	}
	p.Patches = []Patch{{1, zeroU, zeroV, true}}
	if err := p.fill(in); err != nil {
		return p, err
	}
	p.Plan = p.name()
	return p, nil
}

// fill lays out columns and rows, each row the other way round.
func (p *Print) fill(in Rect) error {
	us, vs := p.stops(in.X0, in.X1), p.stops(in.Y0, in.Y1)
	if len(us)*len(vs) > most {
		return fmt.Errorf("patches: %d patches: at most %d; space them wider (proof.spacing)", len(us)*len(vs), most)
	}
	if (in.X1-in.X0)/float64(len(us)-1) < p.shape.size+2 || (in.Y1-in.Y0)/float64(len(vs)-1) < p.shape.size+p.shape.w*float64(p.shape.tabs)+2 {
		return fmt.Errorf("patches: patches of %g mm, at most %g mm apart, would touch: space them wider (proof.spacing)", p.Settings.Size, p.Settings.Spacing)
	}
	zero := p.shape.around(p.Patches[0].U, p.Patches[0].V).grown(2)
	for j, v := range vs {
		for i := range us {
			u := us[i]
			if j%2 == 1 {
				u = us[len(us)-1-i]
			}
			if m := zero.meet(p.shape.around(u, v)); m.X0 < m.X1 && m.Y0 < m.Y1 {
				continue
			}
			p.Patches = append(p.Patches, Patch{N: len(p.Patches) + 1, U: u, V: v})
		}
	}
	return nil
}

// stops are places from a to b, at most the spacing apart, to 0.01 mm.
func (p *Print) stops(a, b float64) []float64 {
	n := max(int(math.Ceil((b-a)/p.Settings.Spacing-1e-9)), 1)
	out := make([]float64, n+1)
	for i := range out {
		out[i] = math.Round(100*(a+(b-a)*float64(i)/float64(n))) / 100
	}
	// Rounding may not lead out of the room.
	out[0], out[n] = math.Ceil(100*a-1e-6)/100, math.Floor(100*b+1e-6)/100
	return out
}

// name is a fingerprint of the places, to 0.01 mm.
func (p *Print) name() string {
	h := sha256.New()
	for _, q := range p.Patches {
		fmt.Fprintf(h, "%d %.2f %.2f\n", q.N, q.U, q.V)
	}
	return hex.EncodeToString(h.Sum(nil)[:4])
}

// At returns the patch with number n.
func (p Print) At(n int) (Patch, bool) {
	if n < 1 || n > len(p.Patches) {
		return Patch{}, false
	}
	return p.Patches[n-1], true
}
