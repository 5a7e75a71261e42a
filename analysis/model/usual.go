package model

import (
	"math"
	"sync"
)

// shape is one way in which a family of coefficients may be there.
type shape struct {
	weight float64
	// first is the size of the lowest at the nozzle, mm, ratio that of each further one
	// to the one before, n how many there are.
	first, ratio float64
	n            int
	// plate is the size of what the surface itself has of such a shape, mm: where it is
	// small the map tells the rest. 0: anything, and the map tells nothing.
	plate float64
}

// sd is the size of coefficient i, counted from 0.
func (s shape) sd(i int) float64 {
	if i >= s.n {
		return 0
	}
	return s.first * math.Pow(s.ratio, float64(i))
}

const trust, lean = 0.75, 0.5

var (
	slopes = []shape{{0.14, 0, 0, 0, 0}, {0.08, 0.008, 0, 1, 0}, {0.78, 0.25, 0, 1, 0}}
	bends  = []shape{{0.36, 0, 0, 0, 0}, {0.09, 0.015, 0.7, 3, 0}, {0.10, 0.08, 0, 1, 0}, {0.07, 0.04, 0.5, 4, 0}, {0.05, 0.10, 0.4, 3, 0}, {0.05, 0.10, 0.7, 5, 0},
		{0.18, 0.10, 0.8, 5, 0.004}, {0.10, 0.10, 0.7, 5, 0.06}}
	pitches = []shape{{0.46, 0, 0, 0, 0}, {0.09, 0.015, 0, 1, 0}, {0.16, 0.06, 0, 1, 0}, {0.07, 0.02, 0.7, 2, 0}, {0.09, 0.06, 0.7, 2, 0}, {0.03, 0.06, 0.7, 5, 0}, {0.02, 0.15, 0.7, 5, 0},
		{0.08, 0.10, 0.8, 6, 0.005}}
	rolls = []shape{{0.62, 0, 0, 0, 0}, {0.10, 0.015, 0, 1, 0}, {0.14, 0.06, 0, 1, 0}, {0.05, 0.02, 0.6, 3, 0}, {0.06, 0.06, 0.5, 3, 0}, {0.03, 0.15, 0.5, 4, 0}}
)

// Usual is the prior of a machine and a person of whom nothing is known; hand is the
// expected scatter of the hand, mm.
func Usual(machine Machine, hand float64) Prior {
	p := Prior{Level: 0.5, Tram: 1, Leave: 7, Drop: 0.02, Given: true, Trust: trust, Lean: lean,
		Slip: 0.08, SlipLog: math.Log(0.02), Unread: straightness(), Drifts: []Hand{{SD: 0.02, Log: math.Log(0.06 / 0.94)}}}
	for _, h := range []float64{1, 0.65, 1.5, 2.3, 3.8} {
		p.Hands = append(p.Hands, Hand{SD: hand * h, Log: -math.Pow(math.Log(h)/0.45, 2) / 2})
	}
	m := products[math.Abs(machine.Lever.X) < beside]()
	p.Members, p.Beds, p.ScoutX, p.ScoutY = m.members, m.beds, m.scoutX, m.scoutY
	return p
}

// product is every pair of what may be held of the X carriage and of the Y axis.
type product struct {
	members        []Member
	beds           [][beds]float64
	scoutX, scoutY []int
}

// products are those of Usual, by whether the lever lies along Y.
var products = map[bool]func() *product{
	false: sync.OnceValue(func() *product { return newProduct(false) }),
	true:  sync.OnceValue(func() *product { return newProduct(true) }),
}

func newProduct(along bool) *product {
	p := &product{}
	way := straightness()
	bedOf := map[[2]float64]int{{}: -1}
	for k, slope := range slopes {
		for l, bend := range bends {
			for n, pitch := range pitches {
				plates := [2]float64{bend.plate, pitch.plate}
				if _, there := bedOf[plates]; !there {
					bedOf[plates] = len(p.beds)
					p.beds = append(p.beds, plate(plates))
				}
				for o, roll := range rolls {
					m := member(slope, bend, pitch, roll)
					if along {
						copy(m.SD[int(EZX)*Degree:int(EZX+1)*Degree], way[int(EZX)*Degree:])
					}
					m.Bed, m.X, m.Y = bedOf[plates], k*len(bends)+l, n*len(rolls)+o
					m.Log = math.Log(slope.weight * bend.weight * pitch.weight * roll.weight)
					p.members = append(p.members, m)
				}
			}
		}
	}
	steep := (len(slopes) - 1) * len(bends)
	p.scoutX = []int{steep, steep + broadest(bends)}
	p.scoutY = []int{0, broadest(pitches)*len(rolls) + broadest(rolls)}
	return p
}

// broadest is the shape with the largest size that the map tells nothing of.
func broadest(all []shape) (at int) {
	for i, s := range all {
		if s.plate == 0 && s.sd(0)+s.sd(2) > all[at].sd(0)+all[at].sd(2) {
			at = i
		}
	}
	return at
}

// plate is a surface whose bends along X and everything else are of the sizes given; 0
// is a millimetre, of which the map is as good as silent.
func plate(sizes [2]float64) [beds]float64 {
	u, other := sizes[0], sizes[1]
	if u == 0 {
		u = 1
	}
	if other == 0 {
		other = 1
	}
	return BedOf(func(i, j int) float64 {
		switch {
		case i+j == 1:
			return 1 // it is trammed, by whatever
		case j == 0:
			return u
		}
		return other
	})
}

// arm turns a size at the nozzle into an angle: that of a lever of 45 mm, mm. cross is
// that of the roll of the Y axis, whose arm is the distance from the middle as well.
const (
	arm   = 45.0
	cross = 111.0
)

func member(slope, bend, pitch, roll shape) Member {
	var m Member
	set := func(of Motion, degree int, sd float64) {
		if degree <= Degree {
			m.SD[int(of)*Degree+degree-1] = sd
		}
	}
	set(EAX, 1, slope.sd(0)/arm)
	set(EBX, 1, slope.sd(0)/arm/2)
	set(EBY, 1, slope.sd(0)/arm/2)
	set(EZX, 2, slope.sd(0)/3)
	for i := range Degree - 1 {
		set(EAX, i+2, bend.sd(i)/arm)
		set(EBX, i+2, bend.sd(i)/arm/2)
		set(EZX, i+3, bend.sd(i)/3)
	}
	for i := range Degree {
		set(EAY, i+1, pitch.sd(i)/arm)
		set(EZY, i+2, pitch.sd(i)/2)
	}
	for i := range Degree - 1 {
		set(EBY, i+2, roll.sd(i)/cross)
	}
	for i := range 3 {
		m.SD[firstOut+i] = roll.sd(2) // with a roll of several bends only
	}
	m.SD[firstOut+3], m.SD[firstOut+4], m.SD[firstOut+5] = pitch.sd(0), pitch.sd(1), roll.sd(0)
	m.SD[share] = 0.7 // none, half or all of it
	if bend.plate > 0 {
		m.SD[share] = 0.7 // none, half or all of it
	}
	return m
}

// beside is the lever along X, mm, below which the straightness is no part of the gap
// error and a motion of its own.
const beside = 1.0

// straightness is what is held of a straightness that no reading at the nozzle sees:
// half a tenth of a millimetre of bow (common practice, no source).
func straightness() (out [firstBed]float64) {
	for i, sd := range []float64{0.05, 0.05, 0.03, 0.02, 0.01, 0.005} {
		out[int(EZX)*Degree+i] = sd
	}
	return out
}
