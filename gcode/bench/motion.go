package bench

import (
	"math"

	"abbed/gcode/bench/mechanics"
)

// segment is one straight move, from one world place to another between two
// virtual times. A levelled one follows the stored map on its way: then the Z
// of its ends is the Z over the map.
type segment struct {
	t0, t1   float64
	from, to mechanics.Vec
	stop     mechanics.Vec // the real place of its end
	levelled bool
	touching bool // the way down of a touch
	act      Act
}

// fraction returns the fraction of the way done at t, 0..1.
func (s segment) fraction(t float64) float64 {
	if t >= s.t1 || s.t1 <= s.t0 {
		return 1
	}
	return max(0, (t-s.t0)/(s.t1-s.t0))
}

func (s segment) horizontal() bool {
	return math.Hypot(s.to[0]-s.from[0], s.to[1]-s.from[1]) > 1e-6
}

// Speeds of the machine, mm/s.
const (
	travelSpeed = 100.0
	feedMax     = 200.0
	feedMin     = 0.05
	zMax        = 15.0
	plungeFast  = 10.0
	probeSpeed  = 5.0
	homeSpeed   = 40.0
	queueLength = 16 // moves planned ahead
)

// seconds a move takes at a feed in mm/s, with the limits of the axes.
func seconds(from, to mechanics.Vec, feed float64) float64 {
	d := to.Sub(from)
	t := d.Length() / max(feedMin, min(feed, feedMax))
	return max(t, math.Abs(d[2])/zMax)
}

// axes is what the controller believes and where the head really is. World
// places are the controller's own minus its origin; the origin's z is the
// datum that homing finds.
type axes struct {
	at       mechanics.Vec // world, at the end of all that has been settled
	origin   mechanics.Vec // world place of the controller's zero
	shift    mechanics.Vec // G92: controller place minus the place it tells
	homed    [3]bool
	queue    []segment
	settled  float64 // virtual time up to which the queue has been walked
	busyTill float64 // virtual end of the last move ever
	relative bool    // G91
	feed     float64 // mm/s
	sunk     bool    // the motors are off and Z has sunk
	extruder float64
	extRel   bool
	asleep   bool // homed until the motors were switched off
}

// end is the world place at the end of the queue.
func (a *axes) end() mechanics.Vec {
	if n := len(a.queue); n > 0 {
		return a.queue[n-1].stop
	}
	return a.at
}

func (a *axes) allHomed() bool { return a.homed == [3]bool{true, true, true} }

// push appends a move that starts when the last has ended, and returns when
// it ends, in virtual seconds.
func (p *Printer) push(to mechanics.Vec, feed float64, s segment) float64 {
	now := p.now()
	s.from, s.to, s.stop = p.end(), to, to
	p.feeler.Travel(to[0]-s.from[0], to[1]-s.from[1])
	if s.levelled {
		s.from[2] -= p.over(s.from)
		s.to[2] -= p.over(s.to)
	}
	s.t0 = max(now, p.busyTill)
	s.t1 = s.t0 + seconds(s.from, s.to, feed)
	p.busyTill = s.t1
	p.queue = append(p.queue, s)
	p.sunk = false
	return s.t1
}

// follows tells whether the stored map is followed: by a machine that is homed, or
// was until its motors were switched off, which tells its place as before.
func (p *Printer) follows() bool { return p.levelling && (p.allHomed() || p.asleep) }

// over is the height of the stored map at a world place, when levelling is on
// and the machine homed; else 0.
func (p *Printer) over(w mechanics.Vec) float64 {
	if !p.follows() {
		return 0
	}
	return p.stored.At(w[0]-p.origin[0], w[1]-p.origin[1])
}

// where is the world place on a segment at a fraction of its way.
func (p *Printer) where(s segment, f float64) mechanics.Vec {
	w := s.from.At(s.to, f)
	if s.levelled {
		w[2] += p.stored.At(w[0]-p.origin[0], w[1]-p.origin[1])
	}
	return w
}

// head is the world place of the head at the virtual time now, up to which the
// queue has been settled.
func (p *Printer) head(now float64) mechanics.Vec {
	if len(p.queue) == 0 {
		return p.at
	}
	return p.where(p.queue[0], p.queue[0].fraction(now))
}

// settle walks the queue up to the virtual time now, watching the nozzle all
// the way, and drops the moves that have ended.
func (p *Printer) settle(now float64) {
	for len(p.queue) > 0 && p.queue[0].t0 < now {
		s := p.queue[0]
		f0, f1 := 0.0, s.fraction(now)
		if p.settled > s.t0 {
			f0 = s.fraction(p.settled)
		}
		p.watch(s, f0, f1)
		p.at = p.where(s, f1)
		if f1 < 1 {
			break
		}
		p.queue = p.queue[1:]
	}
	p.settled = max(p.settled, now)
	p.idleOff(now)
}

// drop stops all motion where the head is now.
func (p *Printer) drop() {
	p.settle(p.now())
	p.queue = nil
	p.busyTill = p.now()
}

// idleOff switches the motors off when nothing has moved for long enough.
func (p *Printer) idleOff(now float64) {
	if p.idle > 0 && len(p.queue) == 0 && now-max(p.busyTill, p.powered) > p.idle {
		p.motorsOff(max(p.busyTill, p.powered)+p.idle, "the idle switch-off")
	}
}

// sink lets Z go down by its own weight, to the bed at the lowest, once until it
// moves again.
func (p *Printer) sink() {
	if p.scenario.Sinks <= 0 || p.sunk {
		return
	}
	p.sunk = true
	gap := p.gapAt(p.at, p.now())
	p.at[2] -= max(0, min(p.scenario.Sinks, gap))
	if gap <= p.scenario.Sinks {
		p.log.Sunk++
	}
}

func (p *Printer) motorsOff(at float64, why string) {
	p.unhomes(at, why)
	p.asleep = p.asleep || p.allHomed()
	p.homed = [3]bool{}
	p.sink()
	p.powered = p.now()
}
