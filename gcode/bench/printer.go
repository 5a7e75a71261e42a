package bench

import (
	"cmp"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"abbed/gcode/bench/mechanics"
	"abbed/gcode/bench/wire"
)

// Options choose one specimen of a scenario.
type Options struct {
	Seed    uint64
	Speed   float64 // virtual seconds per real second; 0 = 1
	Wording int     // which wording, from 1; -1 or 0: by seed
	Faults  []Fault
}

// Printer is one virtual printer. All its methods may be called at any time
// from any goroutine.
type Printer struct {
	scenario Scenario
	seed     uint64
	speed    float64
	start    time.Time
	words    wire.Wording
	body     *mechanics.Body

	mu sync.Mutex // guards all below; held for arithmetic only
	axes
	feeler   *mechanics.Feeler
	heaters  [2]mechanics.Heater // nozzle, bed
	settings                     // in force
	kept     settings            // by M500
	maps     uint64              // measured since the first
	limits   bool
	lines    wire.Counter
	powered  float64 // virtual time since which nothing has moved
	log      watcher
	printing [2]int64 // done, total; total 0: none
	faults   []*fault
	eye      witness
	lie      *lying         // nil: the probe tells the truth
	mute     atomic.Uint64  // virtual time until which it is silent, as bits
	deafTill atomic.Uint64  // and until which it does no command
	struck   map[string]int // how often each fault had its effect
	strikeAt float64        // virtual time of the last
	babbled  int
	lineEnd  string

	halted bool
	halt   chan struct{} // closed by a halt or a restart
	links  sync.Map      // of every *link, without mu
}

// settings are what M500 keeps.
type settings struct {
	stored    mechanics.Grid
	levelling bool
	lever     mechanics.Vec // as the controller has it: X, Y, and the person's Z offset
	idle      float64
}

func (s settings) clone() settings {
	s.stored = s.stored.Clone()
	return s
}

// New builds the printer of a scenario. Its clock starts now, at power-on:
// not homed, cold, its map measured before. It panics on a scenario whose map
// has fewer than 2 x 2 nodes.
func New(sc Scenario, o Options) *Printer {
	if sc.Cols < 2 || sc.Rows < 2 {
		panic("bench: a map needs 2 x 2 nodes")
	}
	if o.Wording <= 0 {
		o.Wording = 1 + int(o.Seed%wire.Wordings)
	}
	p := &Printer{
		scenario: sc, seed: o.Seed, speed: cmp.Or(o.Speed, 1), start: time.Now(),
		words: wire.New(o.Wording), body: mechanics.NewBody(sc.Machine),
		feeler: mechanics.NewFeeler(sc.Probe, o.Seed, 1), struck: map[string]int{},
		heaters: [2]mechanics.Heater{mechanics.NewHeater(45), mechanics.NewHeater(90)},
	}
	p.words.Short, p.lineEnd = sc.ShortTemps, p.words.End
	for _, f := range o.Faults {
		p.Inject(f)
	}
	p.log.Lowest, p.log.LowWorst = math.Inf(1), math.Inf(1)
	p.kept = settings{
		stored:    mechanics.Measure(p.body, sc.Probe, o.Seed),
		levelling: sc.LevelledStart,
		lever:     mechanics.Vec{sc.Lever[0], sc.Lever[1], sc.Level - sc.Trigger},
		idle:      sc.IdleOff,
	}
	for _, s := range sc.Stale {
		p.kept.stored.Z[s.J][s.I] = mechanics.Round3(p.kept.stored.Z[s.J][s.I] + s.Off)
	}
	if sc.Printing {
		p.printing = [2]int64{48211, 190533}
	}
	xc, yc := sc.Bed.Middle()
	p.at = mechanics.Vec{xc, yc, p.body.NozzleContact(xc, yc) + 12}
	p.boot()
	return p
}

// boot sets everything to what it is after a restart.
func (p *Printer) boot() {
	p.drop()
	p.unhomes(p.now(), "a restart")
	p.mute.Store(0)
	p.deafTill.Store(0)
	p.eye.arriving = true
	p.axes = axes{sunk: p.sunk, at: p.at, origin: p.at, settled: p.now(), busyTill: p.now(), feed: 50}
	p.recall()
	p.limits = true
	p.lines = wire.Counter{}
	p.powered = p.now()
	p.heatTo(0, 0)
	p.halted = false
	p.halt = make(chan struct{})
}

// recall puts in force what is kept.
func (p *Printer) recall() {
	p.settings = p.kept.clone()
	p.setLevelling(p.levelling)
}

// lock takes the lock and returns what gives it back.
func (p *Printer) lock() (unlock func()) {
	p.mu.Lock()
	return p.mu.Unlock
}

// now is the virtual time since power-on, s.
func (p *Printer) now() float64 { return time.Since(p.start).Seconds() * p.speed }

// real turns virtual seconds into a duration.
func (p *Printer) real(s float64) time.Duration {
	return time.Duration(math.Ceil(s / p.speed * 1e9))
}

// Restart resets the board: banner, kept settings, nothing homed, cold.
func (p *Printer) Restart() {
	p.mu.Lock()
	if !p.halted {
		close(p.halt)
	}
	p.drop()
	p.sink()
	p.boot()
	p.mu.Unlock()
	p.each(func(l *link) {
		l.forget()
		l.unasked(p.words.Banner...)
	})
}

// Halt stops the machine at once, as M112 does: nothing is answered until a
// restart.
func (p *Printer) Halt() {
	p.mu.Lock()
	if p.halted {
		p.mu.Unlock()
		return
	}
	p.drop()
	p.halted = true
	p.sink()
	p.unhomes(p.now(), "a halt")
	p.asleep = false
	p.homed = [3]bool{}
	p.log.Halts++
	p.log.HaltAt = p.at.Sub(p.origin)
	p.heatTo(0, 0)
	close(p.halt)
	p.mu.Unlock()
	if line := p.words.Halt; line != "" {
		p.each(func(l *link) { l.unasked(line) })
	}
}

// Unplug breaks every connection: Serve returns, and what can be closed is.
func (p *Printer) Unplug() {
	p.each(func(l *link) { l.cancel() })
}

// each does something with every connection, without the lock.
func (p *Printer) each(do func(*link)) {
	for l := range p.links.Range {
		do(l.(*link))
	}
}

// Scenario returns what the printer was made from.
func (p *Printer) Scenario() Scenario { return p.scenario }

// Blade is what the hand at the feeler gauge feels now, mm: gap under the
// nozzle minus the blade's thickness. Negative: pinched. +Inf off the plate.
func (p *Printer) Blade(thickness float64) float64 {
	defer p.lock()()
	now := p.settle()
	return p.gapAt(p.head(now), now) - thickness
}

// Nodes returns the stored map as it is now, [row][column], mm.
func (p *Printer) Nodes() [][]float64 {
	defer p.lock()()
	return p.stored.Clone().Z
}

// Kept returns the map as M500 kept it: what a restart brings back.
func (p *Printer) Kept() [][]float64 {
	defer p.lock()()
	return p.kept.stored.Clone().Z
}
