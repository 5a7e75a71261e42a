package model

import (
	"math"
	"sync"
)

// shape is one way in which a family of coefficients may be there.
type shape struct {
	// one is its weight in a machine of which one thing or another moves, all that in
	// one of which everything moves a little.
	one, all float64
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

// The prior, found on families of machines of its own drawing (families_test.go), never on
// the seeds that the tests of the product show. Sizes are in mm at the nozzle for a lever
// of 45 mm: 0.015 is half a tolerance of 0.03 mm, a size that just matters; 0.06 and 0.08
// are two to three of it; 0.10 to 0.15 ruins a layer. Ratios below 1 say that higher bends
// are smaller, by as much as a stiff beam asks for (0.4) or a soft one (0.8).
//
// everything, fewer and lean: how much of what is held is of machines of which everything
// moves a little, in the doubt and in what is predicted; and by which power more the prior
// counts there. A lever along Y shows neither the pitch nor the straightness of the X
// carriage, so that less is left to move. On 169 machines with all six motions, measured by
// the default plan, none of them shown: 0.930 of the nozzle errors inside their intervals with
// an oblique lever (0.912 with 0.45) at 2 % wider intervals, 0.904 with one along Y. With 0.9
// and more a sound machine is called so by fewer than nine in ten runs, and along Y a plain
// wedge takes 12 readings in place of 8 to 11.
const (
	everything, everythingAlong = 0.8, 0.45

	fewer, lean = 0.3, 0.5
)

var (
	// slopes: most machines have some wedge, which its size says nothing about; one in
	// seven none; one in twelve one that hardly shows.
	slopes = []shape{
		{one: 0.14, all: 0.03},
		{one: 0.08, all: 0.07, first: 0.008, n: 1},
		{one: 0.78, all: 0.90, first: 0.25, n: 1},
	}
	// bends along X: none; a small smooth one; a plain bow; smooth ones, from stiff to
	// soft; and what the map shows, all of it (a plate flat to 2 um a bend) or in part (a plate
	// as bent as a usual one, 0.06 mm).
	bends = []shape{
		{one: 0.36, all: 0.06},
		{one: 0.09, all: 0.30, first: 0.015, ratio: 0.7, n: 3},
		{one: 0.10, all: 0.05, first: 0.08, n: 1},
		{one: 0.07, all: 0.30, first: 0.04, ratio: 0.5, n: 4},
		{one: 0.05, all: 0.12, first: 0.10, ratio: 0.4, n: 3},
		{one: 0.05, all: 0.10, first: 0.10, ratio: 0.7, n: 5},
		{one: 0.18, all: 0.05, first: 0.10, ratio: 0.8, n: 5, plate: 0.002},
		{one: 0.10, all: 0.02, first: 0.10, ratio: 0.7, n: 5, plate: 0.06},
	}
	// pitches of the Y axis, with its straightness: none; a slope; a slope with a bow;
	// many bends, which few rows cannot tell and wide doubts must hold; what the map shows.
	pitches = []shape{
		{one: 0.44, all: 0.12},
		{one: 0.08, all: 0.05, first: 0.015, n: 1},
		{one: 0.13, all: 0.08, first: 0.06, n: 1},
		{one: 0.07, all: 0.25, first: 0.02, ratio: 0.7, n: 2},
		{one: 0.09, all: 0.25, first: 0.06, ratio: 0.7, n: 2},
		{one: 0.03, all: 0.10, first: 0.06, ratio: 0.7, n: 5},
		{one: 0.02, all: 0.03, first: 0.15, ratio: 0.7, n: 5},
		{one: 0.15, all: 0.12, first: 0.10, ratio: 0.8, n: 6, plate: 0.0025},
	}
	// rolls of the Y axis beyond an even one: none; t s alone, small and large; with the
	// next degrees, and then with what no rigid motion makes.
	rolls = []shape{
		{one: 0.62, all: 0.15},
		{one: 0.10, all: 0.15, first: 0.015, n: 1},
		{one: 0.14, all: 0.15, first: 0.06, n: 1},
		{one: 0.05, all: 0.30, first: 0.02, ratio: 0.6, n: 3},
		{one: 0.06, all: 0.20, first: 0.06, ratio: 0.5, n: 3},
		{one: 0.03, all: 0.05, first: 0.15, ratio: 0.5, n: 4},
	}
	// hands are scatters in units of the expected one: from a machinist's to one that
	// shakes, a factor of 1.6 being a standard deviation of what is believed.
	hands = []float64{1, 0.65, 1.5, 2.3, 3.8}
)

const (
	// handSpread is that standard deviation, as a logarithm.
	handSpread = 0.45
	// slipSize and slipShare: one reading in fifty is a slip of the hand or the blade, by
	// about a tenth of a millimetre (common practice, no source).
	slipSize, slipShare = 0.08, 0.02
	// driftSize and driftShare: one gauging in sixteen drifts by some 0.02 mm from its
	// middle to its end (common practice, no source).
	driftSize, driftShare = 0.02, 0.06
	// constants of half a millimetre and trams of one say next to nothing.
	level, tram = 0.5, 1.0
	// leave and drop bound what is computed: e^-7 of the likeliest, and a fiftieth of the
	// weight.
	leave, drop = 7.0, 0.02
)

// Usual is the prior of a machine and a person of whom nothing is known; hand is the
// expected scatter of the hand, mm.
func Usual(machine Machine, hand float64) Prior {
	p := Prior{Level: level, Tram: tram, Leave: leave, Drop: drop, Given: true,
		Slip: slipSize, SlipLog: math.Log(slipShare), Unread: straightness(),
		Drifts: []Hand{{SD: driftSize, Log: math.Log(driftShare / (1 - driftShare))}}}
	for _, h := range hands {
		p.Hands = append(p.Hands, Hand{SD: hand * h, Log: -math.Pow(math.Log(h)/handSpread, 2) / 2})
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
	share := everything
	if along {
		share = everythingAlong
	}
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
					one, all := slope.one*bend.one*pitch.one*roll.one, slope.all*bend.all*pitch.all*roll.all
					m.Log = math.Log((1-share)*one + share*all)
					m.Lean = (1+lean)*math.Log((1-fewer)*one+fewer*all) - m.Log
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

// member spreads the shapes over the motions. Pitch is half of the roll, a straightness a
// third of it at the nozzle: fewer machines have them, and they are smaller. A motion's
// degree counts from where it makes something at the nozzle.
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
