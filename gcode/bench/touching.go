package bench

import (
	"abbed/gcode/bench/mechanics"
	"abbed/gcode/bench/wire"
)

// order queues one move of the machine's own, to a world place, and waits
// for its end.
func (l *link) order(to mechanics.Vec, feed float64, touching bool) error {
	p := l.p
	p.mu.Lock()
	p.settle(p.now())
	till := p.push(p.stopped(to), feed, segment{touching: touching, act: l.own})
	p.mu.Unlock()
	err := l.hold(till)
	p.mu.Lock()
	p.settle(p.now())
	p.mu.Unlock()
	return err
}

// rest is the world place of the head, which stands.
func (l *link) rest() mechanics.Vec {
	l.p.mu.Lock()
	defer l.p.mu.Unlock()
	return l.p.end()
}

// plunge lowers the head where it stands until the probe triggers, no lower
// than the world height floor. The head is left at the trigger.
func (l *link) plunge(floor, feed float64) (hit bool, err error) {
	p := l.p
	p.mu.Lock()
	now := p.now()
	p.settle(now)
	at := p.end()
	trigger, ok := p.triggerAt(at, now, feed)
	if ok {
		trigger, ok = l.lies(at, trigger, now)
	}
	p.mu.Unlock()
	if !ok || trigger < floor {
		at[2] = min(at[2], floor)
		return false, l.order(at, feed, true)
	}
	if trigger >= at[2] {
		return false, nil // triggered before it began
	}
	if near := trigger + 2; at[2] > near {
		at[2] = near
		if err := l.order(at, plungeFast, true); err != nil {
			return false, err
		}
	}
	at[2] = trigger
	err = l.order(at, feed, true)
	if err == nil {
		p.mu.Lock()
		p.log.Touches++
		p.mu.Unlock()
	}
	return err == nil, err
}

// lies has the probe lie about a trigger below a place. What one word tells is
// told otherwise; where the head itself says where it stopped, or the datum is
// set, the trigger is elsewhere. l.lied keeps by how much. The caller holds the
// lock.
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
	if p.deaf() || !b.Bed.Has(at[0]+b.Lever[0], at[1]+b.Lever[1]) {
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
func (l *link) touchAt(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	p.mu.Lock()
	to := p.logical(p.end()).Add(mechanics.Vec{p.lever[0], p.lever[1]})
	for i := range 2 {
		if v, ok := w.Num("XY"[i]); ok {
			to[i] = v
		}
	}
	place := to
	to = to.Sub(mechanics.Vec{p.lever[0], p.lever[1]})
	homed, reach := p.allHomed(), !p.outside(to) && p.body.Bed.Has(place[0], place[1]) && !p.use(faultReach)
	target := p.end()
	target[0], target[1] = to[0]+p.origin[0], to[1]+p.origin[1]
	clear := p.origin[2] + p.scenario.Clearance
	l.own, p.eye.arriving = ActTouch, true
	p.mayMove(ActTouch, place)
	if p.scenario.LowTravel && reach {
		p.highEnough(ActTouch, p.logical(p.end())[2], place)
	}
	p.mu.Unlock()
	switch {
	case !homed:
		l.say(p.words.Unhomed())
		return "", nil
	case !reach:
		l.say(p.words.Unreachable())
		return "", nil
	}
	if !p.scenario.LowTravel && target[2] < clear {
		at := l.rest()
		at[2], target[2] = clear, clear
		if err := l.order(at, zMax, false); err != nil {
			return "", err
		}
	}
	if err := l.order(target, travelSpeed, false); err != nil {
		return "", err
	}
	return "", l.touchHere(place)
}

func (l *link) touchHere(place mechanics.Vec) error {
	p := l.p
	p.mu.Lock()
	floor := p.origin[2] - 2.5
	clear := p.origin[2] + p.scenario.Clearance
	p.mu.Unlock()
	hit, err := l.plunge(floor, probeSpeed)
	if err != nil {
		return err
	}
	at := l.rest()
	if !hit {
		if at[2] <= floor {
			p.Halt()
			return errHalted
		}
		l.say(p.words.Triggered())
		return nil
	}
	p.mu.Lock()
	z := p.logical(at)[2] + p.lever[2] + l.lied
	if p.scenario.TouchRaw {
		z -= p.lever[2]
	}
	p.mu.Unlock()
	at[2] = max(at[2], clear)
	if err := l.order(at, zMax, false); err != nil {
		return err
	}
	l.say(p.words.Touch(place[0], place[1], z, p.scenario.Decimals))
	return nil
}

// straight is G38.2: down from where the head stands to Z, at F, until the
// probe triggers; the head stays there. Only straight down.
func (l *link) straight(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	feed, haveFeed := w.Num('F')
	_, haveZ := w.Num('Z')
	if !haveFeed || !haveZ || feed <= 0 || w.Has('X') || w.Has('Y') {
		l.say(p.words.Refused(w))
		return "", nil
	}
	p.mu.Lock()
	homed, reach := p.allHomed(), !p.use(faultReach)
	to, _ := p.target(p.logical(p.end()), w)
	floor := p.world(to)[2]
	l.own, p.eye.arriving = ActTouch, true
	p.mayMove(ActTouch, to)
	p.mu.Unlock()
	switch {
	case !homed:
		l.say(p.words.Unhomed())
		return "", nil
	case !reach:
		l.say(p.words.Unreachable())
		return "", nil
	}
	hit, err := l.plunge(floor, min(feed/60, plungeFast))
	if err != nil {
		return "", err
	}
	p.mu.Lock()
	c := p.logical(p.end()).Sub(p.shift)
	p.mu.Unlock()
	if p.scenario.Bracket {
		l.say(p.words.Bracket(c, hit, p.scenario.Decimals))
	} else if !hit {
		l.say(p.words.NoContact())
	}
	return "", nil
}

// home is G28: all axes, or those named.
func (l *link) home(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	all := !w.Has('X') && !w.Has('Y') && !w.Has('Z')
	p.mu.Lock()
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
	p.mu.Unlock()
	if err := l.order(up, zMax, false); err != nil {
		return "", err
	}
	for i := range 2 {
		if !all && !w.Has("XY"[i]) {
			continue
		}
		if err := l.homeSide(i); err != nil {
			return "", err
		}
	}
	if all || w.Has('Z') {
		return "", l.homeZ()
	}
	return "", nil
}

// homeSide runs X or Y against its stop.
func (l *link) homeSide(i int) error {
	p := l.p
	to := l.rest()
	to[i] = p.scenario.Travel.Min[i]
	if err := l.order(to, homeSpeed, false); err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.origin[i], p.shift[i], p.homed[i] = 0, 0, true
	return nil
}

// homeZ touches at the zero place and sets the datum there.
func (l *link) homeZ() error {
	p := l.p
	p.mu.Lock()
	ready := p.homed[0] && p.homed[1]
	to := p.end()
	to[0], to[1] = p.scenario.Zero[0]-p.lever[0], p.scenario.Zero[1]-p.lever[1]
	p.unhomes(p.now(), "a homing that did not end")
	p.homed[2] = false
	p.mu.Unlock()
	if !ready {
		l.say(p.words.Unhomed())
		return nil
	}
	if err := l.order(to, travelSpeed, false); err != nil {
		return err
	}
	hit, err := l.plunge(to[2]-400, probeSpeed)
	if err != nil {
		return err
	}
	if !hit {
		p.Halt()
		return errHalted
	}
	p.mu.Lock()
	at := p.end()
	p.origin[2], p.shift[2], p.homed[2] = at[2]+p.lever[2], 0, true
	if p.scenario.HomeLevelsOn {
		p.setLevelling(true)
	}
	if p.scenario.HomeLimitsOn {
		p.limits = true
	}
	at[2] = p.origin[2] + max(p.scenario.Clearance, 5)
	p.mu.Unlock()
	return l.order(at, zMax, false)
}
