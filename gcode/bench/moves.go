package bench

import (
	"math"

	"abbed/gcode/bench/mechanics"
	"abbed/gcode/bench/wire"
)

// logical is a world place in the controller's coordinates, without the
// stored map where that is followed.
func (p *Printer) logical(w mechanics.Vec) mechanics.Vec {
	c := w.Sub(p.origin)
	c[2] -= p.over(w)
	return c
}

// world is the other way.
func (p *Printer) world(c mechanics.Vec) mechanics.Vec {
	w := c.Add(p.origin)
	w[2] += p.over(w)
	return w
}

// move queues a straight move and is done when it is queued.
func (l *link) move(w wire.Word) {
	l.room()
	p := l.p
	p.settle(p.now())
	if f, ok := w.Num('F'); ok && f > 0 {
		p.feed = f / 60
	}
	p.extrude(w)
	if to, moved := p.target(p.logical(p.end()), w); moved {
		p.queueMove(to)
	}
}

// target reads X, Y, Z of a word against the place where it starts.
func (p *Printer) target(from mechanics.Vec, w wire.Word) (to mechanics.Vec, moved bool) {
	to = from
	for i := range to {
		v, ok := w.Num("XYZ"[i])
		if !ok {
			continue
		}
		moved = true
		if p.relative {
			to[i] = from[i] + v
		} else {
			to[i] = v + p.shift[i]
		}
	}
	return to, moved
}

func (p *Printer) extrude(w wire.Word) {
	if e, ok := w.Num('E'); ok && p.extRel {
		p.extruder += e
	} else if ok {
		p.extruder = e
	}
}

// queueMove orders a move to a controller place, within the limits when they
// are on, and within the stops of the frame always.
func (p *Printer) queueMove(to mechanics.Vec) {
	act := p.ordered(to)
	if !p.allHomed() {
		p.log.Unhomed++
	}
	if p.outside(to) {
		p.log.OutOfBounds++
	}
	if p.limits {
		for i := range to {
			if p.homed[i] {
				to[i] = max(p.scenario.Travel.Min[i], min(p.scenario.Travel.Max[i], to[i]))
			}
		}
	}
	p.push(p.stopped(p.world(to)), p.feed, segment{levelled: p.follows(), act: act})
}

// outside tells whether a controller place is beyond the travel. A nozzle
// that is lowered below Z 0 is not: that is what its own limits are for.
func (p *Printer) outside(c mechanics.Vec) bool {
	const slack = 1e-6
	t := p.scenario.Travel
	for i := range c {
		if p.homed[i] && (c[i] > t.Max[i]+slack || i < 2 && c[i] < t.Min[i]-slack) {
			return true
		}
	}
	return false
}

// stopped holds a world place within the stops: 2 mm beyond the travel to the
// sides; up and down a little more, where springs and belts give.
func (p *Printer) stopped(w mechanics.Vec) mechanics.Vec {
	const beyond, give = 2, 10
	t := p.scenario.Travel
	for i := range 2 {
		w[i] = max(t.Min[i]-beyond, min(t.Max[i]+beyond, w[i]))
	}
	w[2] = max(-give, min(t.Max[2]+give, w[2]))
	return w
}

// room waits until the planner takes another move.
func (l *link) room() {
	p := l.p
	for p.settle(p.now()); len(p.queue) >= queueLength; p.settle(p.now()) {
		l.hold(p.queue[0].t1 + 1e-6)
	}
	l.alive()
}

// arc follows a circle by chords of about 1 mm: centre from I and J. An arc
// whose radii differ by more than 0.002 mm is refused (RS-274/NGC).
func (l *link) arc(w wire.Word) {
	p := l.p
	from := p.logical(p.end())
	to, _ := p.target(from, w)
	i, _ := w.Num('I')
	j, _ := w.Num('J')
	cx, cy := from[0]+i, from[1]+j
	r := math.Hypot(i, j)
	if r == 0 || r > 2000 || math.Abs(math.Hypot(to[0]-cx, to[1]-cy)-r) > 0.002 {
		l.say(p.words.Say(wire.Refused, w.Code))
		return
	}
	a0, a1 := math.Atan2(from[1]-cy, from[0]-cx), math.Atan2(to[1]-cy, to[0]-cx)
	if turn := 2 * math.Pi; w.Code == "G3" && a1 <= a0+1e-9 {
		a1 += turn
	} else if w.Code == "G2" && a1 >= a0-1e-9 {
		a1 -= turn
	}
	n := max(1, int(math.Ceil(r*math.Abs(a1-a0))))
	for k := 1; k <= n; k++ {
		f := float64(k) / float64(n)
		c := mechanics.Vec{cx + r*math.Cos(a0+f*(a1-a0)), cy + r*math.Sin(a0+f*(a1-a0)), from[2] + f*(to[2]-from[2])}
		if k == n {
			c = to
		}
		l.room()
		p.queueMove(c)
	}
	p.extrude(w)
}
