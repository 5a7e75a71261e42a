package bench

import (
	"slices"

	"abbed/gcode/bench/wire"
)

// handler does one command. It runs with the printer's lock, which only hold,
// say and free let go; a halt meanwhile ends it.
type handler func(l *link, w wire.Word)

// handlers by code. A code that is not here is not known.
var handlers map[string]handler

func init() {
	handlers = map[string]handler{
		"G0": (*link).move, "G1": (*link).move, "G2": (*link).arc, "G3": (*link).arc, "G4": after((*link).dwell),
		"G28": after((*link).home), "G30": after((*link).touchAt), "G38.2": after((*link).straight),
		"G90": mode(func(p *Printer) { p.relative, p.extRel = false, false }),
		"G91": mode(func(p *Printer) { p.relative, p.extRel = true, true }),
		"M82": mode(func(p *Printer) { p.extRel = false }),
		"M83": mode(func(p *Printer) { p.extRel = true }),
		"G21": nothing, "M17": nothing, "M106": nothing, "M107": nothing, "M110": nothing, "M117": nothing, "M75": nothing, "M77": nothing,
		"G92": after((*link).setPlace), "M400": after(nothing), "M84": (*link).motors, "M18": (*link).motors,
		"M114": (*link).where, "M115": (*link).who, "M27": (*link).print, "M211": (*link).limit,
		"M105": (*link).heatReport, "M104": (*link).heat, "M109": (*link).heat, "M140": (*link).heat, "M190": (*link).heat,
		"M851": (*link).leverWord, "M420": after((*link).level), "M421": after((*link).node),
		"M500": (*link).keep, "M501": (*link).recall, "M503": (*link).report,
	}
}

func nothing(*link, wire.Word) {}

func mode(set func(*Printer)) handler { return func(l *link, _ wire.Word) { set(l.p) } }

// after is for what waits until all moves have ended.
func after(h handler) handler {
	return func(l *link, w wire.Word) {
		l.drain()
		h(l, w)
	}
}

func (l *link) do(w wire.Word) {
	p := l.p
	if l.act(w) {
		return
	}
	h, ok := handlers[w.Code]
	if !ok || p.unknown(w.Code) {
		l.say(p.words.Say(wire.Unknown, w.Code))
		return
	}
	h(l, w)
}

func (p *Printer) unknown(code string) bool {
	if code == "G30" && p.scenario.Straight38 || code == "G38.2" && !p.scenario.Straight38 {
		return true
	}
	return slices.Contains(p.scenario.Unknown, code)
}

// drain waits until all moves have ended.
func (l *link) drain() {
	l.hold(l.p.busyTill)
	l.p.settle(l.p.now())
}

func (l *link) dwell(w wire.Word) {
	s, _ := w.Num('S')
	if ms, ok := w.Num('P'); ok {
		s = ms / 1000
	}
	l.hold(l.p.now() + s)
}

// motors sets the idle switch-off (S, seconds, 0 never) or switches off now.
func (l *link) motors(w wire.Word) {
	p := l.p
	if s, ok := w.Num('S'); ok {
		p.settle(p.now())
		p.idle = max(0, s)
		p.powered = p.now()
		return
	}
	l.drain()
	p.motorsOff(p.now(), "the motors' switching off")
}

func (l *link) setPlace(w wire.Word) {
	p := l.p
	c := p.logical(p.end())
	for i := range c {
		if v, ok := w.Num("XYZ"[i]); ok {
			p.shift[i] = c[i] - v
		}
	}
	if v, ok := w.Num('E'); ok {
		p.extruder = v
	}
}

func (l *link) heat(w wire.Word) {
	p := l.p
	h := &p.heaters[0]
	if w.Code == "M140" || w.Code == "M190" {
		h = &p.heaters[1]
	}
	s, ok := w.Num('S')
	if r, isR := w.Num('R'); isR {
		s, ok = r, true
	}
	if ok {
		h.Set(max(0, s), p.now())
	}
	if (w.Code == "M109" || w.Code == "M190") && s > 0 {
		l.hold(h.Reached())
	}
}
