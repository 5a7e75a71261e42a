package bench

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
)

// Lie is a way in which the probe tells what is not so, from a touch on. The
// bed and the nozzle's own contact stay what they are. Where one word touches
// and tells the height (G30) the report lies; a straight probe (G38.2) tells
// nothing but where it stopped, so there the trigger itself comes elsewhere.
type Lie struct {
	Kind  string
	From  int     // the touch with which it begins, counted from Tell; 0 and 1: the next
	Until int     // the last touch; 0: for ever
	Size  float64 // mm, signed; of scale: the part by which heights are told too large
	Share float64 // of share: the part of the touches
	Every int     // of wild: one touch in so many; 0: 7
	Where *Disc   // only here; nil: everywhere
	Home  bool    // the touch of homing lies as well, so that the datum is off
}

// Disc is a round part of the bed, mm: a hole, a magnet, an edge, a clip.
type Disc struct{ U, V, R float64 }

func (d *Disc) has(u, v float64) bool { return d == nil || math.Hypot(u-d.U, v-d.V) <= d.R }

// The kinds of Lie.
const (
	LieConstant    = "constant"    // off by Size
	LiePairs       = "pairs"       // each two touches lower than the last two by Size
	LieRamp        = "ramp"        // each touch off by Size more
	LieShare       = "share"       // a random Share of the touches off by Size
	LieStuck       = "stuck"       // the height told last, again and again
	LieAlternating = "alternating" // every other touch off by Size
	LieWild        = "wild"        // one touch in Every off by Size
	LieDeaf        = "deaf"        // never triggers: the head goes down to its limit
	LieEarly       = "early"       // triggers Size before it should, on its way down
	LieFlip        = "flip"        // tells heights with the other sign
	LieWarm        = "warm"        // off by Size in the end, as it warms up, within minutes
	LieScale       = "scale"       // heights too large by the part Size
	LieNoise       = "noise"       // scatters by Size, standard deviation
)

// lies are by how much touch number k of a Lie, from 0, that should tell z at the
// virtual time now is told too high; nil: it does not trigger at all.
var lies = []struct {
	kind string
	off  func(l *lying, k int, z, now float64) float64
}{
	{LieConstant, func(l *lying, _ int, _, _ float64) float64 { return l.Size }},
	{LiePairs, func(l *lying, k int, _, _ float64) float64 { return -math.Abs(l.Size) * float64(k/2) }},
	{LieRamp, func(l *lying, k int, _, _ float64) float64 { return l.Size * float64(k+1) }},
	{LieShare, func(l *lying, _ int, _, _ float64) float64 { return l.when(l.rng.Float64() < l.Share) }},
	{LieStuck, func(l *lying, _ int, z, _ float64) float64 {
		if !l.told {
			return 0
		}
		return l.last - z
	}},
	{LieAlternating, func(l *lying, k int, _, _ float64) float64 { return l.when(k%2 == 1) }},
	{LieWild, func(l *lying, k int, _, _ float64) float64 {
		every := max(1, l.Every)
		return l.when(k%every == every-1)
	}},
	{LieDeaf, nil},
	{LieEarly, func(l *lying, _ int, _, _ float64) float64 { return l.Size }},
	{LieFlip, func(_ *lying, _ int, z, _ float64) float64 { return -2 * z }},
	{LieWarm, func(l *lying, _ int, _, now float64) float64 { return l.Size * (1 - math.Exp(-(now-l.began)/300)) }},
	{LieScale, func(l *lying, _ int, z, _ float64) float64 { return l.Size * z }},
	{LieNoise, func(l *lying, _ int, _, _ float64) float64 { return l.Size * l.rng.NormFloat64() }},
}

// Lies returns the names of all kinds of Lie.
func Lies() (kinds []string) {
	for _, l := range lies {
		kinds = append(kinds, l.kind)
	}
	return kinds
}

// lying is a Lie that is being told.
type lying struct {
	Lie
	by    func(l *lying, k int, z, now float64) float64
	n     int     // touches since it began to count
	began float64 // virtual time of its first touch; 0: none yet
	last  float64 // height told last
	told  bool
	rng   *rand.Rand
}

// Tell has the probe lie from now on; nil ends it. It panics on a kind that is
// not known.
func (p *Printer) Tell(l *Lie) {
	defer p.lock()()
	p.lie = nil
	if l == nil {
		return
	}
	i := slices.Index(Lies(), l.Kind)
	if i < 0 {
		panic(fmt.Sprintf("bench: no lie %q; there are: %s", l.Kind, strings.Join(Lies(), ", ")))
	}
	p.lie = &lying{Lie: *l, by: lies[i].off, rng: rand.New(rand.NewPCG(p.seed, 77))}
}

func (l *lying) when(so bool) float64 {
	if so {
		return l.Size
	}
	return 0
}

// off returns by how much a touch at the place (u, v) that should tell z is told
// too high, mm; deaf that it does not trigger at all. It counts the touch.
func (l *lying) off(u, v, z, now float64, homing bool) (d float64, deaf bool) {
	if l == nil || homing && !l.Home {
		return 0, false
	}
	if l.n++; l.n < l.From || l.Until > 0 && l.n > l.Until || !l.Where.has(u, v) {
		l.last, l.told = z, true
		return 0, false
	}
	if l.began == 0 {
		l.began = now
	}
	if l.by == nil {
		return 0, true
	}
	d = l.by(l, l.n-max(1, l.From), z, now)
	l.last, l.told = z+d, true
	return d, false
}
