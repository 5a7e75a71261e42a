package bench

import (
	"fmt"
	"math"

	"abbed/gcode/bench/wire"
)

// maxNode is the largest height that a node takes, mm.
const maxNode = 10

func (l *link) where(wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	now := p.now()
	p.settle(now)
	w := p.end()
	actual := p.at
	if len(p.queue) > 0 {
		actual = p.where(p.queue[0], p.queue[0].fraction(now))
	}
	if p.scenario.ActualPlace {
		w = actual
	}
	c := p.logical(w).Sub(p.shift)
	line := p.words.Place(c, p.extruder, actual.Sub(p.origin), p.scenario.Decimals)
	p.mu.Unlock()
	l.say(line)
	return "", nil
}

func (l *link) who(wire.Word) (string, error) {
	l.say(l.p.words.Identity(!l.p.scenario.NoFraming, l.p.scenario.Chatter > 0)...)
	return "", nil
}

func (l *link) print(wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	line := p.words.Print(p.printing)
	p.mu.Unlock()
	l.say(line)
	return "", nil
}

func (l *link) limit(w wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	s, set := w.Num('S')
	if set {
		p.limits = s != 0
	}
	lines := p.words.Limits(p.scenario.Travel, p.limits)
	p.mu.Unlock()
	if !set {
		l.say(lines...)
	}
	return "", nil
}

func (l *link) heatReport(wire.Word) (string, error) { return l.p.temperatures(), nil }

// leverWord is M851: sets or tells the lever and the probe's Z offset.
func (l *link) leverWord(w wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	set := false
	for i := range p.lever {
		if v, ok := w.Num("XYZ"[i]); ok {
			p.lever[i], set = v, true
		}
	}
	line := p.words.Lever(p.lever)
	p.mu.Unlock()
	if !set {
		l.say(line)
	}
	return "", nil
}

// level is M420: S switches the stored levelling, V prints the map.
func (l *link) level(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	p.mu.Lock()
	if s, ok := w.Num('S'); ok {
		p.setLevelling(s != 0)
	}
	on, g := p.levelling, p.stored.Clone()
	p.mu.Unlock()
	if w.Has('V') {
		if p.garbled() {
			g.Z[len(g.Z)/2][len(g.Z[0])/2] += 0.111
		}
		l.say(p.words.MapRows(g)...)
	}
	l.say(p.words.Levelling(on))
	return "", nil
}

// node is M421: sets one node, or adds to it.
func (l *link) node(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	i, okI := w.Num('I')
	j, okJ := w.Num('J')
	z, okZ := w.Num('Z')
	q, okQ := w.Num('Q')
	p.mu.Lock()
	defer p.mu.Unlock()
	whole := i == math.Trunc(i) && j == math.Trunc(j)
	if !okI || !okJ || okZ == okQ || !whole || i < 0 || j < 0 || int(i) >= len(p.stored.Z[0]) || int(j) >= len(p.stored.Z) {
		l.say("Error:" + p.words.BadNode())
		return "", nil
	}
	node := &p.stored.Z[int(j)][int(i)]
	if okQ {
		z = *node + q
	}
	if math.Abs(z) > maxNode {
		l.say("Error:" + p.words.BadNode())
		return "", nil
	}
	*node = z
	// The head stays where it is; what it tells of its place follows the new map.
	return "", nil
}

func (l *link) keep(wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	p.kept = settings{stored: p.stored.Clone(), levelling: p.levelling, lever: p.lever, idle: p.idle}
	p.log.Keeps++
	p.mu.Unlock()
	l.say(p.words.Kept())
	return "", nil
}

func (l *link) recall(wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	p.stored, p.lever, p.idle = p.kept.stored.Clone(), p.kept.lever, p.kept.idle
	p.setLevelling(p.kept.levelling)
	p.mu.Unlock()
	l.say(p.words.Recalled())
	return "", nil
}

// report is M503: the settings, each as the command that would set it.
func (l *link) report(wire.Word) (string, error) {
	p := l.p
	p.mu.Lock()
	on := 0
	if p.levelling {
		on = 1
	}
	lim := 0
	if p.limits {
		lim = 1
	}
	settings := []struct{ code, rest string }{
		{"M851", fmt.Sprintf("X%.2f Y%.2f Z%.2f", p.lever[0], p.lever[1], p.lever[2])},
		{"M420", fmt.Sprintf("S%d", on)},
		{"M211", fmt.Sprintf("S%d", lim)},
		{"M84", fmt.Sprintf("S%.0f", p.idle)},
	}
	var lines []string
	for _, s := range settings {
		if !p.unknown(s.code) {
			lines = append(lines, s.code+" "+s.rest)
		}
	}
	p.mu.Unlock()
	l.say(p.words.Settings(lines)...)
	return "", nil
}
