package patches

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
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
	return Rect{X0: u - h.size/2, Y0: v - h.size/2 - h.w*float64(h.tabs), X1: u + h.size/2, Y1: v + h.size/2}
}

// Area returns the area of one patch, mm2, as it is printed.
func (p Print) Area() float64 { return p.shape.area() }

// Choice picks from the places that are offered, of which the first is the zero place; it
// returns their numbers.
type Choice func(offered [][2]float64) []int

// Plan lays out two patches beside each other at each place of the choice, the first at
// the zero place: what two patches at one place differ by is the plastic's own. Five
// columns and rows or fewer are offered, as far as bed and travel of the nozzle hold whole
// patches; none that would touch those at the zero place. Where the area is too narrow for
// two pairs, and where the settings want it, each place has one patch.
func Plan(s Settings, bed, travel, area Rect, zeroU, zeroV float64, choice Choice) (Print, error) {
	if err := s.check(); err != nil {
		return Print{}, fmt.Errorf("patches: %w", err)
	}
	s.Height = math.Round(1e4*s.Height) / 1e4 // as it is written
	h := s.shaped()
	p := Print{Settings: s, Bed: bed, shape: h}
	room := bed.Grown(-s.Margin).Meet(travel)
	if !holds(room, h.around(zeroU, zeroV)) {
		return p, fmt.Errorf("patches: the zero point (%.1f, %.1f) is not within bed and travel, %.1f mm inside: set the zero point farther in", zeroU, zeroV, s.Margin)
	}
	// The prime line takes the front.
	p.prime = line{room.X0 + h.w/2, room.Y0 + h.w/2, math.Min(room.X1, room.X0+100) - h.w/2, room.Y0 + h.w/2}
	room.Y0 += 2*h.w + 1
	in := area.Meet(Rect{X0: room.X0 + h.size/2, Y0: room.Y0 + h.size/2 + h.w*float64(h.tabs), X1: room.X1 - h.size/2, Y1: room.Y1 - h.size/2})
	if in.X1-in.X0 < h.size+2 || in.Y1-in.Y0 < h.size+h.w*float64(h.tabs)+2 {
		return p, fmt.Errorf("patches: from (%.0f, %.0f) to (%.0f, %.0f) is no room for two patches of %g mm: take readings farther out", area.X0, area.Y0, area.X1, area.Y1, s.Size)
	}
	if !holds(room, h.around(zeroU, zeroV)) {
		return p, fmt.Errorf("patches: the patch at the zero point lies on the prime line at the front: set the zero point farther back")
	}
	p.fill(in, room, zeroU, zeroV, choice)
	p.Plan = p.name()
	return p, nil
}

// fill lays out the patches of the places, each row of them the other way round.
func (p *Print) fill(in, room Rect, zeroU, zeroV float64, choice Choice) {
	pitch, deep := p.shape.size+2, p.shape.size+p.shape.w*float64(p.shape.tabs)+2
	pairs := in.X1-in.X0 >= 3*pitch && !p.Settings.Single
	half, wide := 0.0, pitch
	if pairs {
		half, wide = pitch/2, 2*pitch
	}
	p.Patches = []Patch{{1, zeroU, zeroV, true}}
	zero := p.shape.around(zeroU, zeroV)
	for _, u := range []float64{zeroU + pitch, zeroU - pitch} {
		if side := p.shape.around(u, zeroV); pairs && len(p.Patches) == 1 && holds(room, side) {
			p.Patches = append(p.Patches, Patch{2, u, zeroV, false})
			zero = Rect{X0: math.Min(zero.X0, side.X0), Y0: zero.Y0, X1: math.Max(zero.X1, side.X1), Y1: zero.Y1}
		}
	}
	zero = zero.Grown(2)
	offered := [][2]float64{{zeroU, zeroV}}
	us, vs := stops(in.X0+half, in.X1-half, wide), stops(in.Y0, in.Y1, deep)
	for j, v := range vs {
		for i := range us {
			if j%2 == 1 {
				i = len(us) - 1 - i
			}
			covers := p.shape.around(us[i]-half, v)
			covers.X1 += 2 * half
			if m := zero.Meet(covers); m.X0 >= m.X1 || m.Y0 >= m.Y1 {
				offered = append(offered, [2]float64{us[i], v})
			}
		}
	}
	picked := choice(offered)
	slices.Sort(picked)
	for _, i := range picked {
		if i == 0 {
			continue
		}
		u, v := offered[i][0], offered[i][1]
		p.Patches = append(p.Patches, Patch{N: len(p.Patches) + 1, U: u - half, V: v})
		if pairs {
			p.Patches = append(p.Patches, Patch{N: len(p.Patches) + 1, U: u + half, V: v})
		}
	}
}

// stops are five places from a to b, or as many as do not touch, to 0.01 mm; rounding may
// not lead out of the room.
func stops(a, b, apart float64) (out []float64) {
	lo, hi := math.Ceil(100*a-1e-6)/100, math.Floor(100*b+1e-6)/100
	n := min(4, int((hi-lo)/apart+1e-9))
	for i := range n + 1 {
		out = append(out, math.Round(100*(lo+(hi-lo)*float64(i)/float64(max(n, 1))))/100)
	}
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
