package bench

import "math"

// Mute has the printer fall silent for so many virtual seconds when the command
// strikes (see Fault.When): that command and all that come meanwhile are
// swallowed, and not even its chatter goes out. 0 or less: for ever, until a
// restart. What moves goes on to its end.
func (p *Printer) Mute(when string, seconds float64) {
	p.inject(Fault{Name: faultMute, When: when}, seconds)
}

// Late has the printer do the command that strikes (see Fault.When) and answer
// it so many virtual seconds late, without a busy line in between.
func (p *Printer) Late(when string, seconds float64) {
	p.inject(Fault{Name: faultLateOK, When: when}, seconds)
}

// faultMute is no fault of the table: it has a length.
const faultMute = "mute"

func (p *Printer) inject(f Fault, seconds float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n, _ := newFault(f)
	n.length = seconds
	p.faults = append(p.faults, n)
}

// muted tells whether the printer is silent now.
func (p *Printer) muted() bool { return p.now() < math.Float64frombits(p.mute.Load()) }

// fallSilent begins it.
func (p *Printer) fallSilent(seconds float64) {
	until := math.Inf(1)
	if seconds > 0 {
		until = p.now() + seconds
	}
	p.mute.Store(math.Float64bits(until))
}

// Muted tells whether the printer is silent now.
func (p *Printer) Muted() bool { return p.muted() }
