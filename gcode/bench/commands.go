package bench

import (
	"slices"

	"abbed/gcode/bench/wire"
)

// handler does one command and returns what its ok line carries besides.
type handler func(l *link, w wire.Word) (tail string, err error)

// handlers by code. A code that is not here is not known.
var handlers map[string]handler

func init() {
	handlers = map[string]handler{
		"G0": (*link).move, "G1": (*link).move, "G4": (*link).dwell,
		"G2": (*link).arc, "G3": (*link).arc,
		"G28": (*link).home, "G30": (*link).touchAt, "G38.2": (*link).straight,
		"G90": mode(func(p *Printer) { p.relative, p.extRel = false, false }),
		"G91": mode(func(p *Printer) { p.relative, p.extRel = true, true }),
		"M82": mode(func(p *Printer) { p.extRel = false }),
		"M83": mode(func(p *Printer) { p.extRel = true }),
		"G21": nothing, "M17": nothing, "M106": nothing, "M107": nothing, "M110": nothing, "M117": nothing, "M75": nothing, "M77": nothing,
		"G92": (*link).setPlace, "M400": (*link).finish, "M84": (*link).motors, "M18": (*link).motors,
		"M114": (*link).where, "M115": (*link).who, "M27": (*link).print, "M211": (*link).limit,
		"M105": (*link).heatReport, "M104": (*link).heat, "M109": (*link).heat, "M140": (*link).heat, "M190": (*link).heat,
		"M851": (*link).leverWord, "M420": (*link).level, "M421": (*link).node,
		"M500": (*link).keep, "M501": (*link).recall, "M503": (*link).report,
	}
}

func nothing(*link, wire.Word) (string, error) { return "", nil }

func mode(set func(*Printer)) handler {
	return func(l *link, _ wire.Word) (string, error) {
		l.p.mu.Lock()
		defer l.p.mu.Unlock()
		set(l.p)
		return "", nil
	}
}

// do does one command.
func (l *link) do(w wire.Word) (string, error) {
	p := l.p
	if done, err := l.act(w); done || err != nil {
		return "", err
	}
	h, ok := handlers[w.Code]
	if !ok || p.unknown(w.Code) {
		l.say(p.words.Unknown(w.Code))
		return "", nil
	}
	return h(l, w)
}

func (p *Printer) unknown(code string) bool {
	if code == "G30" && p.scenario.Straight38 || code == "G38.2" && !p.scenario.Straight38 {
		return true
	}
	return slices.Contains(p.scenario.Unknown, code)
}

// finish waits until all moves have ended.
func (l *link) finish(wire.Word) (string, error) { return "", l.drain() }

func (l *link) drain() error {
	p := l.p
	p.mu.Lock()
	till := p.busyTill
	p.mu.Unlock()
	err := l.hold(till)
	p.mu.Lock()
	p.settle(p.now())
	p.mu.Unlock()
	return err
}

func (l *link) dwell(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	s, _ := w.Num('S')
	if ms, ok := w.Num('P'); ok {
		s = ms / 1000
	}
	return "", l.hold(l.p.now() + s)
}

// motors sets the idle switch-off (S, seconds, 0 never) or switches off now.
func (l *link) motors(w wire.Word) (string, error) {
	p := l.p
	if s, ok := w.Num('S'); ok {
		p.mu.Lock()
		p.settle(p.now())
		p.idle = max(0, s)
		p.powered = p.now()
		p.mu.Unlock()
		return "", nil
	}
	if err := l.drain(); err != nil {
		return "", err
	}
	p.mu.Lock()
	p.motorsOff(p.now(), "the motors' switching off")
	p.mu.Unlock()
	return "", nil
}

func (l *link) setPlace(w wire.Word) (string, error) {
	if err := l.drain(); err != nil {
		return "", err
	}
	p := l.p
	p.mu.Lock()
	defer p.mu.Unlock()
	c := p.logical(p.end())
	for i := range c {
		if v, ok := w.Num("XYZ"[i]); ok {
			p.shift[i] = c[i] - v
		}
	}
	if v, ok := w.Num('E'); ok {
		p.extruder = v
	}
	return "", nil
}

func (l *link) heat(w wire.Word) (string, error) {
	p := l.p
	i := 0
	if w.Code == "M140" || w.Code == "M190" {
		i = 1
	}
	s, ok := w.Num('S')
	if r, isR := w.Num('R'); isR {
		s, ok = r, true
	}
	p.mu.Lock()
	if ok {
		p.heaters[i].Set(max(0, s), p.now())
	}
	till := p.heaters[i].Reached()
	p.mu.Unlock()
	if w.Code == "M104" || w.Code == "M140" || s <= 0 {
		return "", nil
	}
	return "", l.hold(till)
}
