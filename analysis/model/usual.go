package model

import "math"

// shape is one way in which a family of coefficients may be there.
type shape struct {
	weight float64
	// first is the size of the lowest, ratio that of each further one to the one
	// before, n how many there are.
	first, ratio float64
	n            int
}

// sd is the size of coefficient i, counted from 0; never quite none, so that a strong
// contradiction can still be followed.
func (s shape) sd(i int) float64 {
	if i >= s.n {
		return 0
	}
	return s.first * math.Pow(s.ratio, float64(i))
}

var (
	slopes  = []shape{{0.08, 0, 0, 0}, {0.08, 0.008, 0, 1}, {0.84, 0.25, 0, 1}}
	bends   = []shape{{0.40, 0, 0, 0}, {0.15, 0.015, 0.7, 3}, {0.12, 0.08, 0, 1}, {0.12, 0.04, 0.5, 4}, {0.08, 0.10, 0.4, 4}, {0.13, 0.10, 0.7, 5}}
	pitches = []shape{{0.45, 0, 0, 0}, {0.10, 0.02, 0, 1}, {0.15, 0.07, 0, 1}, {0.15, 0.02, 0.7, 3}, {0.08, 0.05, 0.6, 3}, {0.07, 0.12, 0.7, 5}}
	rolls   = []shape{{0.60, 0, 0, 0}, {0.20, 0.015, 0.6, 3}, {0.12, 0.05, 0.6, 3}, {0.08, 0.12, 0.5, 4}}
	// mapped are the ways in which the map may tell of the bends: not at all, along X all
	// of it (a plate that is flat there), some of it, and everywhere.
	mapped = []struct{ weight, u, rest float64 }{{0.5, 1, 1}, {0.15, 0.004, 1}, {0.20, 0.06, 1}, {0.15, 0.005, 0.005}}
)

// Usual is the prior of a machine and a person of whom nothing is known; hand is the
// expected scatter of the hand, mm.
func Usual(machine Machine, hand float64) Prior {
	p := Prior{Unread: straightness(), Level: 0.5, Tram: 1, Leave: 8, Drop: 0.005, Slip: 0.08, SlipLog: math.Log(0.02), Given: true, Trust: 0.88}
	for _, s := range mapped {
		p.Beds = append(p.Beds, BedOf(func(i, j int) float64 {
			switch {
			case i+j == 1:
				return 1
			case j == 0:
				return s.u
			}
			return s.rest
		}))
	}
	for _, h := range []float64{1, 0.8, 1.25, 0.55, 1.8, 2.7, 4} {
		p.Hands = append(p.Hands, Hand{SD: hand * h, Log: -math.Pow(math.Log(h)/0.45, 2) / 2})
	}
	p.Drifts = []Hand{{SD: 0.02, Log: math.Log(0.06 / 0.94)}}
	for _, slope := range slopes {
		for _, bend := range bends {
			for _, pitch := range pitches {
				for _, roll := range rolls {
					for b, s := range mapped {
						m := member(slope, bend, pitch, roll)
						m.Bed = b
						if math.Abs(machine.Lever.X) < beside {
							copy(m.SD[int(EZX)*Degree:int(EZX+1)*Degree], p.Unread[int(EZX)*Degree:])
						}
						m.Log = math.Log(slope.weight * bend.weight * pitch.weight * roll.weight * s.weight)
						p.Members = append(p.Members, m)
					}
				}
			}
		}
	}
	return p
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
	for i := range gives {
		m.SD[firstOut+i] = roll.sd(0) / 2
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

// Assumed is the prior of one who takes the kind of machine for granted: a wedge and no
// more, or bends and rolls of the usual sizes as well. Its covariance needs no reading.
func Assumed(hand float64, bent bool) Prior {
	m := member(slopes[len(slopes)-1], shape{}, shape{}, shape{})
	if bent {
		m = member(slopes[len(slopes)-1], shape{1, 0.08, 0.5, 2}, shape{}, shape{1, 0.05, 0.5, 1})
	}
	return Prior{Members: []Member{m}, Beds: make([][beds]float64, 1), Hands: []Hand{{SD: hand}}, Level: 0.5, Tram: 1, Trust: 1, Leave: 1}
}
