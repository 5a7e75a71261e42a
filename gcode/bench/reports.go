package bench

import (
	"fmt"
	"math"

	"abbed/gcode/bench/wire"
)

// maxNode is the largest height that a node takes, mm.
const maxNode = 10

func (l *link) where(wire.Word) {
	p := l.p
	now := p.settle()
	w, actual := p.end(), p.head(now)
	if p.scenario.ActualPlace {
		w = actual
	}
	l.say(p.words.Place(p.logical(w).Sub(p.shift), p.extruder, actual.Sub(p.origin), p.scenario.Decimals))
}

func (l *link) who(wire.Word) {
	l.say(l.p.words.Identity(!l.p.scenario.NoFraming, l.p.scenario.Chatter > 0)...)
}

func (l *link) print(wire.Word) { l.say(l.p.words.Print(l.p.printing)) }

func (l *link) limit(w wire.Word) {
	if s, set := w.Num('S'); set {
		l.p.limits = s != 0
		return
	}
	l.say(l.p.words.Limits(l.p.scenario.Travel, l.p.limits)...)
}

func (l *link) heatReport(wire.Word) { l.tail = l.p.temperatures() }

// leverWord is M851: sets or tells the lever and the probe's Z offset.
func (l *link) leverWord(w wire.Word) {
	p := l.p
	set := false
	for i := range p.lever {
		if v, ok := w.Num("XYZ"[i]); ok {
			p.lever[i], set = v, true
		}
	}
	if !set {
		l.say(p.words.Lever(p.lever))
	}
}

// level is M420: S switches the stored levelling, V prints the map.
func (l *link) level(w wire.Word) {
	p := l.p
	if s, ok := w.Num('S'); ok {
		p.setLevelling(s != 0)
	}
	on, g := p.levelling, p.stored.Clone()
	if w.Has('V') {
		if p.use("wrong-echo") {
			g.Z[len(g.Z)/2][len(g.Z[0])/2] += 0.111
		}
		l.say(p.words.MapRows(g)...)
	}
	l.say(p.words.Levelling(on))
}

// node is M421: sets one node, or adds to it. The head stays where it is; what it
// tells of its place follows the new map.
func (l *link) node(w wire.Word) {
	g := l.p.stored.Z
	i, okI := w.Num('I')
	j, okJ := w.Num('J')
	z, okZ := w.Num('Z')
	q, okQ := w.Num('Q')
	whole := i == math.Trunc(i) && j == math.Trunc(j)
	if okI && okJ && okZ != okQ && whole && i >= 0 && j >= 0 && int(i) < len(g[0]) && int(j) < len(g) {
		node := &g[int(j)][int(i)]
		if okQ {
			z = *node + q
		}
		if math.Abs(z) <= maxNode {
			*node = z
			return
		}
	}
	l.say(l.p.words.Say(wire.BadNode))
}

func (l *link) keep(wire.Word) {
	p := l.p
	p.kept = p.settings.clone()
	p.log.Keeps++
	l.say(p.words.Say(wire.Kept))
}

func (l *link) recall(wire.Word) {
	l.p.recall()
	l.say(l.p.words.Say(wire.Recalled))
}

// report is M503: the settings, each as the command that would set it.
func (l *link) report(wire.Word) {
	p := l.p
	onOff := map[bool]string{true: "S1", false: "S0"}
	var lines []string
	for _, s := range [...]struct{ code, rest string }{
		{"M851", fmt.Sprintf("X%.2f Y%.2f Z%.2f", p.lever[0], p.lever[1], p.lever[2])},
		{"M420", onOff[p.levelling]},
		{"M211", onOff[p.limits]},
		{"M84", fmt.Sprintf("S%.0f", p.idle)},
	} {
		if !p.unknown(s.code) {
			lines = append(lines, s.code+" "+s.rest)
		}
	}
	l.say(p.words.Settings(lines)...)
}
