package probe

import (
	"math"

	"abbed/probe/record"
)

// What the tests of the rules look at.

// Way is an approach to a gauging place.
type Way struct{ Predicted, Arrival, Floor, Doubt float64 }

func way(a approachTo) Way { return Way{a.predicted, a.arrival, a.floor, a.doubt} }

// At is a gauged place with its raw gap error.
type At struct {
	Place record.Place
	Raw   float64
}

func gaugedAt(ats []At) []gauged {
	var gs []gauged
	for i, a := range ats {
		gs = append(gs, gauged{place: a.Place, raw: a.Raw, g: a.Raw - ats[0].Raw, records: 1})
		_ = i
	}
	return gs
}

// Proves is how many records a spot of a proof needs.
func Proves(run record.Run, spot int) int { return proves(run, spot) }

// First, Early, ByModel and Back are the ways to come to a point.
func First(touched, blade float64, l record.Lever) Way { return way(first(touched, blade, l)) }
func Early(touched, blade float64, p record.Place, ats, contacts []At) Way {
	return way(early(touched, blade, p, gaugedAt(ats), contactsAt(contacts)))
}
func ByModel(touched, raw, u, blade, hop float64) Way {
	return way(byModel(touched, raw, u, blade, hop))
}
func Back(touched, raw, contact, blade, floor float64) Way {
	return way(back(touched, raw, contact, blade, floor))
}

// RoomAt is the room under the nozzle foretold at p.
func RoomAt(trigger float64, zero record.Place, ats []At, p record.Place) float64 {
	return Room{trigger: trigger, zero: zero, gauged: gaugedAt(ats)}.At(p)
}

// Walk follows the route over the aims, with gap error g at each place, and
// returns the places in order.
func Walk(p Plan, s record.Setup, alone bool, g func(record.Place) float64) (places []record.Place, cramped bool) {
	r := route{aims: p.aims(s, alone), reach: s.Reach}
	var gs []gauged
	for range 200 {
		room := Room{trigger: s.Trigger, zero: s.Zero, gauged: gs}
		q, more, tight := r.next(gs, room)
		if !more {
			return places, tight
		}
		places = append(places, q)
		gs = append(gs, gauged{place: q, raw: g(q), g: g(q) - g(s.Zero), records: 1})
	}
	return places, true
}

// Agree says whether the touches of a visit can be believed, Middle what they say.
func Agree(zs ...float64) bool     { return agree(zs) }
func Middle(zs ...float64) float64 { return median(zs) }

// Ground is the surface after these touches, three at each place, the first place the
// zero place; Expect is what it then predicts at p, and how far off a touch may be.
type Ground struct{ g ground }

// GroundOf returns the ground after touches of the surface z at the places.
func GroundOf(z func(record.Place) float64, places ...record.Place) *Ground {
	g := &Ground{ground{zero: places[0]}}
	for _, p := range places {
		for range 3 {
			g.g.add(p, z(p))
		}
	}
	return g
}

func (g *Ground) Add(p record.Place, z float64)             { g.g.add(p, z) }
func (g *Ground) Expect(p record.Place) (z, within float64) { return g.g.expect(p) }
func (g *Ground) Holds(p record.Place, z float64) bool      { return g.g.holds(p, z) }
func Lowest(at []At, p record.Place, limit float64) float64 { return lowest(contactsAt(at), p, limit) }

func contactsAt(at []At) []gauged {
	var out []gauged
	for _, a := range at {
		out = append(out, gauged{place: a.Place, raw: a.Raw})
	}
	return out
}

// Descent is the way down to the gauge, for tests.
type Descent struct{ d descent }

func NewDescent(expected, doubt float64, sure bool, z, floor float64) *Descent {
	return &Descent{descent{expected: expected, doubt: doubt, sure: sure, z: z, floor: floor, gauge: 0.1, loose: math.NaN(), tight: math.NaN()}}
}

func (d *Descent) Z() float64               { return d.d.z }
func (d *Descent) Down() (float64, bool)    { return d.d.down() }
func (d *Descent) Lowered(z float64)        { d.d.lowered(z) }
func (d *Descent) Up() float64              { return d.d.up() }
func (d *Descent) Raised(z float64)         { d.d.raised(z) }
func (d *Descent) FromAbove() bool          { return d.d.fromAbove() }
func (d *Descent) Again() (over, z float64) { return d.d.again() }
func (d *Descent) Step() float64            { return d.d.step }
