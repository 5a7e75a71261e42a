package bench

import "math"

// Mute has the printer fall silent for so many virtual seconds when the command
// strikes (see Fault.When): that command and all that come meanwhile are
// swallowed, and not even its chatter goes out. 0 or less: for ever, until a
// restart. What moves goes on to its end.
func (p *Printer) Mute(when string, seconds float64) {
	p.inject(Fault{Name: faultMute, When: when}, seconds)
}

// Deafen is Mute of a board that goes on talking by itself: commands are swallowed,
// its chatter still goes out.
func (p *Printer) Deafen(when string, seconds float64) {
	p.inject(Fault{Name: faultDeafen, When: when}, seconds)
}

// Hang has the printer say busy for so many virtual seconds before it does the
// command that strikes.
func (p *Printer) Hang(when string, seconds float64) {
	p.inject(Fault{Name: faultBusy, When: when}, seconds)
}

// Late has the printer do the command that strikes (see Fault.When) and answer
// it so many virtual seconds late, without a busy line in between.
func (p *Printer) Late(when string, seconds float64) {
	p.inject(Fault{Name: faultLateOK, When: when}, seconds)
}

// These are no faults of the table: they have a length.
const (
	faultMute   = "mute"
	faultDeafen = "deafen"
)

func (p *Printer) inject(f Fault, seconds float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n, _ := newFault(f)
	n.length = seconds
	p.faults = append(p.faults, n)
}

// muted tells whether nothing goes out now, deafened whether nothing is done.
func (p *Printer) muted() bool { return p.now() < math.Float64frombits(p.mute.Load()) }

func (p *Printer) deafened() bool {
	return p.muted() || p.now() < math.Float64frombits(p.deafTill.Load())
}

// fallSilent begins either.
func (p *Printer) fallSilent(name string, seconds float64) {
	until := math.Inf(1)
	if seconds > 0 {
		until = p.now() + seconds
	}
	if name == faultDeafen {
		p.deafTill.Store(math.Float64bits(until))
	} else {
		p.mute.Store(math.Float64bits(until))
	}
}

// Muted tells whether the printer does no command now.
func (p *Printer) Muted() bool { return p.deafened() }

// Strikes is how many of the faults have struck.
func (p *Printer) Strikes() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := 0
	for _, k := range p.struck {
		n += k
	}
	return n
}

// LastStrike is for how long no fault has struck, virtual s; +Inf if none ever has.
func (p *Printer) LastStrike() float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.strikeAt == 0 {
		return math.Inf(1)
	}
	return p.now() - p.strikeAt
}
