package bench

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"abbed/gcode/bench/mechanics"
)

// Act is what the head is doing in a move, as the machine sees it: from the
// words that came and the order in which they came, never from what a program
// says of itself.
type Act string

// The acts.
const (
	ActTravel   Act = "travel"   // in X or Y
	ActArrival  Act = "arrival"  // the first way down since a travel, a touch, a homing or clearance
	ActLowering Act = "lowering" // each further way down at the same place: a person's
	ActRaise    Act = "raise"    // straight up
	ActTouch    Act = "touch"    // a touch, the way to it and from it
	ActHoming   Act = "homing"
)

// The kinds of Violation.
const (
	KindContact   = "contact"    // the nozzle on or in the bed, other than by a lowering
	KindLowTravel = "low-travel" // in X or Y below the clearance height
	KindUnhomed   = "unhomed"    // a motion ordered of a machine that does not know where it is
	KindUnlimited = "unlimited"  // travel, touch or homing with the travel limits off
)

// Violation is one thing that must never be, whatever a program was told.
type Violation struct {
	Kind  string
	Act   Act
	At    float64    // virtual seconds since power-on
	Place [3]float64 // where the order led, controller's own, mm
	Depth float64    // of a contact: the deepest, mm; of a low travel: how far below clearance
	// Since is for how long, virtual s, the machine had been unhomed, and Why.
	Since float64
	Why   string
}

// String says it for a test's report.
func (v Violation) String() string {
	s := fmt.Sprintf("%s in a %s to (%.1f, %.1f, %.2f) at %.1f s", v.Kind, v.Act, v.Place[0], v.Place[1], v.Place[2], v.At)
	switch v.Kind {
	case KindContact:
		s += fmt.Sprintf(", %.3f mm deep", v.Depth)
	case KindLowTravel:
		s += fmt.Sprintf(", %.2f mm below clearance", v.Depth)
	case KindUnhomed:
		s += fmt.Sprintf(", %.1f s after %s", v.Since, v.Why)
	}
	return s
}

// Lowered is one order that took the nozzle down at a place.
type Lowered struct {
	At        float64 // virtual seconds since power-on
	Act       Act     // arrival or lowering
	U, V, Z   float64 // controller's own, mm
	Levelling bool    // the stored levelling was in force
}

// mostViolations is how many are kept; a run that has as many is lost anyway.
const mostViolations = 100

// witness is the part of the watcher that knows what each motion needs.
type witness struct {
	clearance  float64 // which a program promised to travel at; 0: none
	violations []Violation
	arriving   bool // the next way down is an arrival
	lowered    []Lowered
	levels     []levelAt
	lostAt     float64 // virtual time when the machine became unhomed
	lostBy     string
}

// levelAt is the state of the stored levelling from a time on.
type levelAt struct {
	at float64
	on bool
}

// Promise tells the witness the clearance height that the program set itself,
// mm, controller's own: from then on a travel in X or Y below it is a violation.
func (p *Printer) Promise(clearance float64) {
	defer p.lock()()
	p.eye.clearance = clearance
}

// Violations returns what must not have been, in its order: at most the first
// hundred. A contact by a lowering in Z alone is the person's and no violation;
// Safety has it with its depth.
func (p *Printer) Violations() []Violation {
	defer p.lock()()
	p.settle()
	out := slices.Clone(p.eye.violations)
	for _, c := range p.log.Contacts {
		if c.Act != ActLowering {
			out = append(out, Violation{Kind: KindContact, Act: c.Act, At: c.At, Place: [3]float64{c.U, c.V, c.Z}, Depth: c.Depth})
		}
	}
	slices.SortStableFunc(out, func(a, b Violation) int { return cmp.Compare(a.At, b.At) })
	return out
}

// Lowerings returns every order that took the nozzle down at a place.
func (p *Printer) Lowerings() []Lowered {
	defer p.lock()()
	return slices.Clone(p.eye.lowered)
}

// LevellingAt tells whether the stored levelling was in force so many virtual
// seconds after power-on.
func (p *Printer) LevellingAt(t float64) bool {
	defer p.lock()()
	on := false
	for _, l := range p.eye.levels {
		if l.at > t {
			break
		}
		on = l.on
	}
	return on
}

// Now is the virtual time since power-on, s.
func (p *Printer) Now() float64 { return p.now() }

// Deepest is how deep the nozzle was in the bed by an act, mm; 0 if never.
func (s Safety) Deepest(of Act) float64 {
	d := 0.0
	for _, c := range s.Contacts {
		if c.Act == of {
			d = max(d, c.Depth)
		}
	}
	return d
}

func (p *Printer) violates(v Violation) {
	if len(p.eye.violations) < mostViolations {
		v.At = p.now()
		p.eye.violations = append(p.eye.violations, v)
	}
}

// setLevelling switches the stored levelling and keeps when.
func (p *Printer) setLevelling(on bool) {
	p.levelling = on
	p.eye.levels = append(p.eye.levels, levelAt{p.now(), on})
}

// unhomes keeps since when and why the machine does not know where it is.
func (p *Printer) unhomes(at float64, why string) {
	if p.allHomed() || p.eye.lostBy == "" {
		p.eye.lostAt, p.eye.lostBy = at, why
	}
}

// ordered looks at one order of the program before it is carried out, and says
// what it is. to is a controller place.
func (p *Printer) ordered(to mechanics.Vec) Act {
	from := p.logical(p.end())
	act := p.actOf(from, to)
	p.mayMove(act, to)
	if act == ActTravel {
		p.highEnough(act, min(from[2], to[2]), to)
	}
	if act == ActArrival || act == ActLowering {
		p.eye.lowered = append(p.eye.lowered, Lowered{At: p.now(), Act: act, U: to[0], V: to[1], Z: to[2], Levelling: p.levelling && p.allHomed()})
	}
	return act
}

func (p *Printer) actOf(from, to mechanics.Vec) Act {
	const still = 1e-6
	switch {
	case math.Hypot(to[0]-from[0], to[1]-from[1]) > still:
		p.eye.arriving = true
		return ActTravel
	case to[2] >= from[2]-still:
		if to[2] >= cmp.Or(p.eye.clearance, p.scenario.Clearance)-0.01 {
			p.eye.arriving = true // the next way down comes from clearance
		}
		return ActRaise
	case p.eye.arriving:
		p.eye.arriving = false
		return ActArrival
	}
	return ActLowering
}

// mayMove notes an order that no machine may be given in its state.
func (p *Printer) mayMove(act Act, to mechanics.Vec) {
	if !p.allHomed() && act != ActHoming {
		p.violates(Violation{Kind: KindUnhomed, Act: act, Place: to, Since: p.now() - p.eye.lostAt, Why: p.eye.lostBy})
	}
	if !p.limits && act != ActRaise && act != ActArrival && act != ActLowering {
		p.violates(Violation{Kind: KindUnlimited, Act: act, Place: to})
	}
}

// highEnough notes a travel in X or Y below the clearance that was promised.
func (p *Printer) highEnough(act Act, z float64, to mechanics.Vec) {
	if c := p.eye.clearance; c > 0 && p.allHomed() && z < c-0.01 {
		p.violates(Violation{Kind: KindLowTravel, Act: act, Place: to, Depth: c - z})
	}
}

// Still is for how long nothing has moved, virtual s; 0 while something moves.
func (p *Printer) Still() float64 {
	defer p.lock()()
	now := p.settle()
	return max(0, now-p.busyTill)
}
