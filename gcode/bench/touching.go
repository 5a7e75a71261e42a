package bench

import (
	"abbed/gcode/bench/mechanics"
	"abbed/gcode/bench/wire"
)

// order queues one move of the machine's own, to a world place, and waits
// for its end.
func (l *link) order(to mechanics.Vec, feed float64, touching bool) {
	p := l.p
	p.settle()
	l.hold(p.push(p.stopped(to), feed, segment{touching: touching, act: l.own}))
	p.settle()
}

// plunge lowers the head where it stands until the probe triggers, no lower
// than the world height floor. The head is left at the trigger.
func (l *link) plunge(floor, feed float64) (hit bool) {
	p := l.p
	now := p.settle()
	at := p.end()
	trigger, ok := p.triggerAt(at, now, feed)
	if ok {
		trigger, ok = l.lies(at, trigger, now)
	}
	if !ok || trigger < floor {
		at[2] = min(at[2], floor)
		l.order(at, feed, true)
		return false
	}
	if trigger >= at[2] {
		return false // triggered before it began
	}
	if near := trigger + 2; at[2] > near {
		at[2] = near
		l.order(at, plungeFast, true)
	}
	at[2] = trigger
	l.order(at, feed, true)
	p.log.Touches++
	return true
}

// lies has the probe lie about a trigger below a place. What one word tells is
// told otherwise; where the head itself says where it stopped, or the datum is
// set, the trigger is elsewhere. l.lied keeps by how much.
func (l *link) lies(at mechanics.Vec, trigger, now float64) (float64, bool) {
	p := l.p
	true0 := p.logical(mechanics.Vec{at[0], at[1], trigger})[2] + p.lever[2]
	d, deaf := p.lie.off(at[0]+p.body.Lever[0], at[1]+p.body.Lever[1], true0, now, l.own == ActHoming)
	l.lied = d
	switch {
	case deaf:
		return 0, false
	case p.lie != nil && p.lie.Kind == LieEarly && d != 0:
		early := max(trigger, min(trigger+d, at[2]-0.05))
		l.lied = 0 // it is told as it came, early
		return early, true
	case l.own == ActHoming || p.scenario.Straight38:
		return trigger + d, true
	}
	return trigger, true
}

// triggerAt draws the world height at which the probe triggers below a place,
// when the head starts now; not ok when there is nothing below it, or a fault
// keeps the probe from triggering.
func (p *Printer) triggerAt(at mechanics.Vec, now, feed float64) (float64, bool) {
	b := p.body
	if p.use("no-trigger") || !b.Bed.Has(at[0]+b.Lever[0], at[1]+b.Lever[1]) {
		return 0, false
	}
	z := b.TouchAt(at[0], at[1])
	t := now
	if d := at[2] - z; d > 2 {
		t += (d-2)/plungeFast + 2/feed
	} else {
		t += max(0, d) / feed
	}
	xc, _ := b.Bed.Middle()
	return p.feeler.Step(z + p.feeler.Drift(t) + p.feeler.Error(at[0], xc, t)), true
}

// touchAt is G30: the probe goes to its place, touches and rises again.
func (l *link) touchAt(w wire.Word) {
	p := l.p
	arm := mechanics.Vec{p.lever[0], p.lever[1]}
	place := p.logical(p.end()).Add(arm)
	for i := range 2 {
		if v, ok := w.Num("XY"[i]); ok {
			place[i] = v
		}
	}
	to := place.Sub(arm)
	reach := !p.outside(to) && p.body.Bed.Has(place[0], place[1]) && !p.use("out-of-reach")
	target := p.end()
	target[0], target[1] = to[0]+p.origin[0], to[1]+p.origin[1]
	clear := p.origin[2] + p.scenario.Clearance
	if !l.mayTouch(place, reach) {
		return
	}
	if p.scenario.LowTravel {
		p.highEnough(ActTouch, p.logical(p.end())[2], place)
	} else if target[2] < clear {
		at := p.end()
		at[2], target[2] = clear, clear
		l.order(at, zMax, false)
	}
	l.order(target, travelSpeed, false)
	l.touchHere(place)
}

// mayTouch begins a touch at a controller place, or says why there is none.
func (l *link) mayTouch(place mechanics.Vec, reach bool) bool {
	p := l.p
	l.own, p.eye.arriving = ActTouch, true
	p.mayMove(ActTouch, place)
	switch {
	case !p.allHomed():
		l.say(p.words.Say(wire.Unhomed))
		return false
	case !reach:
		l.say(p.words.Say(wire.Unreachable))
		return false
	}
	return true
}

func (l *link) touchHere(place mechanics.Vec) {
	p := l.p
	floor := p.origin[2] - 2.5
	clear := p.origin[2] + p.scenario.Clearance
	hit := l.plunge(floor, probeSpeed)
	at := p.end()
	if !hit {
		if at[2] <= floor {
			l.end(p.Halt)
		}
		l.say(p.words.Say(wire.Triggered))
		return
	}
	z := p.logical(at)[2] + p.lever[2] + l.lied
	if p.scenario.TouchRaw {
		z -= p.lever[2]
	}
	at[2] = max(at[2], clear)
	l.order(at, zMax, false)
	l.say(p.words.Touch(place[0], place[1], z, p.scenario.Decimals))
}

// straight is G38.2: down from where the head stands to Z, at F, until the
// probe triggers; the head stays there. Only straight down.
func (l *link) straight(w wire.Word) {
	p := l.p
	feed, haveFeed := w.Num('F')
	_, haveZ := w.Num('Z')
	if !haveFeed || !haveZ || feed <= 0 || w.Has('X') || w.Has('Y') {
		l.say(p.words.Say(wire.Refused, w.Code))
		return
	}
	to, _ := p.target(p.logical(p.end()), w)
	if !l.mayTouch(to, !p.use("out-of-reach")) {
		return
	}
	hit := l.plunge(p.world(to)[2], min(feed/60, plungeFast))
	if p.scenario.Bracket {
		l.say(p.words.Bracket(p.logical(p.end()).Sub(p.shift), hit, p.scenario.Decimals))
	} else if !hit {
		l.say(p.words.Say(wire.NoContact))
	}
}

// home is G28: all axes, or those named.
func (l *link) home(w wire.Word) {
	p := l.p
	all := !w.Has('X') && !w.Has('Y') && !w.Has('Z')
	p.log.Homes++
	p.asleep = false
	if p.scenario.HomeLevelsOff {
		p.setLevelling(false)
	}
	l.own, p.eye.arriving = ActHoming, true
	p.mayMove(ActHoming, p.logical(p.end()))
	up := p.end()
	if !p.homed[2] {
		up[2] += 5
	} else {
		up[2] = max(up[2], p.origin[2]+p.scenario.Clearance)
	}
	l.order(up, zMax, false)
	for i := range 2 {
		if all || w.Has("XY"[i]) {
			l.homeSide(i)
		}
	}
	if all || w.Has('Z') {
		l.homeZ()
	}
}

// homeSide runs X or Y against its stop.
func (l *link) homeSide(i int) {
	p := l.p
	to := p.end()
	to[i] = p.scenario.Travel.Min[i]
	l.order(to, homeSpeed, false)
	p.origin[i], p.shift[i], p.homed[i] = 0, 0, true
}

// homeZ touches at the zero place and sets the datum there.
func (l *link) homeZ() {
	p := l.p
	ready := p.homed[0] && p.homed[1]
	to := p.end()
	to[0], to[1] = p.scenario.Zero[0]-p.lever[0], p.scenario.Zero[1]-p.lever[1]
	p.unhomes(p.now(), "a homing that did not end")
	p.homed[2] = false
	if !ready {
		l.say(p.words.Say(wire.Unhomed))
		return
	}
	l.order(to, travelSpeed, false)
	if !l.plunge(to[2]-400, probeSpeed) {
		l.end(p.Halt)
	}
	at := p.end()
	p.origin[2], p.shift[2], p.homed[2] = at[2]+p.lever[2], 0, true
	if p.scenario.HomeLevelsOn {
		p.setLevelling(true)
	}
	if p.scenario.HomeLimitsOn {
		p.limits = true
	}
	at[2] = p.origin[2] + max(p.scenario.Clearance, 5)
	l.order(at, zMax, false)
}
