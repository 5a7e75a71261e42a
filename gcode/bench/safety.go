package bench

import (
	"math"
	"slices"

	"abbed/gcode/bench/mechanics"
)

// Contact is one stretch in which the nozzle stood on or in the bed.
type Contact struct {
	U, V     float64 // where it began
	Depth    float64 // deepest, mm: what the springs had to give
	Vertical bool    // it came about, and stayed, in moves of Z alone
	Step     float64 // length of the move that made it, mm
	Touch    bool    // the way down of a touch made it
	Act      Act     // that made it
	Z        float64 // controller's own, where it began
	At       float64 // virtual seconds since the start
}

// Safety is what the machine saw of itself. Gaps are from the nozzle's tip to
// the bed under it, mm; only places over the plate count.
type Safety struct {
	Lowest    float64 // lowest gap ever, also along moves and while the probe came down; +Inf before any
	LowestAt  [2]float64
	LowTravel int     // travels in X or Y with a gap below LowGap
	LowWorst  float64 // the lowest gap of those; +Inf when none
	Contacts  []Contact

	OutOfBounds int // moves ordered beyond the travel, clamped or not
	Unhomed     int // moves ordered while not homed
	Homes       int
	Touches     int // contacts of the probe
	Halts       int
	Sunk        int        // times that the nozzle sank onto the bed with the motors off
	HaltAt      [3]float64 // controller place of the last halt

	Homed     bool
	Levelling bool
	Limits    bool
	Idle      float64    // idle switch-off, s
	KeptIdle  float64    // as kept
	Keeps     int        // M500
	Targets   [2]float64 // heater targets, nozzle and bed, deg C
	Heats     [2]float64 // their temperatures
	Place     [3]float64 // of the nozzle, by the controller, now
	Told      [3]float64 // the same as it tells it: over the stored map while that is followed
}

// LowGap is the gap below which a travel in X or Y counts as low, mm.
const LowGap = 2.0

// NozzleTouches counts the contacts that no lowering in Z alone, of at most
// step mm, explains: what must never happen.
func (s Safety) NozzleTouches(step float64) int {
	n := 0
	for _, c := range s.Contacts {
		if !c.Vertical || c.Touch || c.Step > step+1e-9 {
			n++
		}
	}
	return n
}

// watcher keeps the log.
type watcher struct {
	Safety
	inside bool // a contact goes on
	low    bool // this segment is already counted
	lowT0  float64
}

// watch walks a part of a segment in steps of at most 0.5 mm and notes the
// gap under the nozzle.
func (p *Printer) watch(s segment, f0, f1 float64) {
	const step = 0.5
	length := s.to.Sub(s.from).Length() * (f1 - f0)
	n := max(1, int(math.Ceil(length/step)))
	for k := 0; k <= n; k++ {
		f := f0 + (f1-f0)*float64(k)/float64(n)
		w := p.where(s, f)
		t := s.t0 + f*(s.t1-s.t0)
		p.note(s, w, p.gapAt(w, t), t)
	}
}

// gapAt is the gap under the nozzle at a world place; +Inf off the plate.
func (p *Printer) gapAt(w mechanics.Vec, t float64) float64 {
	if !p.body.Bed.Has(w[0], w[1]) {
		return math.Inf(1)
	}
	return w[2] - p.body.NozzleContact(w[0], w[1]) - p.feeler.Drift(t)
}

func (p *Printer) note(s segment, w mechanics.Vec, gap, t float64) {
	l := &p.log
	if gap < l.Lowest {
		l.Lowest, l.LowestAt = gap, [2]float64{w[0], w[1]}
	}
	if s.horizontal() && gap < LowGap && !p.probeIsNozzle() {
		if !l.low || l.lowT0 != s.t0 {
			l.LowTravel++
			l.low, l.lowT0 = true, s.t0
		}
		l.LowWorst = min(l.LowWorst, gap)
	}
	p.noteContact(s, w, gap, t)
}

func (p *Printer) noteContact(s segment, w mechanics.Vec, gap, t float64) {
	l := &p.log
	const touch = 1e-9 // mm: a gap of nothing but arithmetic is no contact
	if gap >= -touch {
		l.inside = false
		return
	}
	vertical := !s.horizontal()
	if p.probeIsNozzle() && vertical && (s.touching || s.to[2] > s.from[2]) && gap > -0.05 {
		return // this probe touches with the nozzle, and rises from there; that is its way
	}
	if !l.inside {
		l.inside = true
		l.Contacts = append(l.Contacts, Contact{
			U: w[0], V: w[1], Vertical: vertical, Step: s.to.Sub(s.from).Length(), Touch: s.touching, At: t,
			Act: s.act, Z: p.logical(w)[2],
		})
	}
	c := &l.Contacts[len(l.Contacts)-1]
	if c.Act == ActLowering && s.act != ActLowering && (-gap > c.Depth+1e-6 || !vertical) {
		c.Act = s.act // what the person began, another act made worse
	}
	c.Depth = max(c.Depth, -gap)
	c.Vertical = c.Vertical && vertical
	if s.to[2] < s.from[2] {
		c.Step = max(c.Step, s.from[2]-s.to[2])
	}
}

func (p *Printer) probeIsNozzle() bool {
	return p.body.Lever == [2]float64{} && p.body.Trigger == 0
}

// Safety returns what the machine has seen of itself up to now.
func (p *Printer) Safety() Safety {
	defer p.lock()()
	now := p.settle()
	s := p.log.Safety
	s.Contacts = slices.Clone(s.Contacts)
	s.Homed, s.Levelling, s.Limits = p.allHomed(), p.levelling, p.limits
	s.Idle, s.KeptIdle = p.idle, p.kept.idle
	for i := range p.heaters {
		s.Targets[i], s.Heats[i] = p.heaters[i].Target, p.heaters[i].At(now)
	}
	s.Place, s.Told = p.at.Sub(p.origin), p.logical(p.at)
	return s
}
