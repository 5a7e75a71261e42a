package bench

import "abbed/gcode/bench/mechanics"

// What somebody does at the printer, behind a program's back.

// MeasureMap has the printer measure its map anew with its own probe and keep
// it, as its owner does at its display. The head stays where it is.
func (p *Printer) MeasureMap() {
	defer p.lock()()
	p.maps++
	p.kept.stored = mechanics.Measure(p.body, p.scenario.Probe, p.seed+1000*p.maps)
	p.stored = p.kept.stored.Clone()
}

// Heat sets the heaters' targets as somebody at the printer's own display does.
func (p *Printer) Heat(nozzle, bed float64) {
	defer p.lock()()
	p.heatTo(nozzle, bed)
}

func (p *Printer) heatTo(nozzle, bed float64) {
	p.heaters[0].Set(nozzle, p.now())
	p.heaters[1].Set(bed, p.now())
}

// Lay changes what lies on the carrier, as a person does who turns the plate or
// lays a bar on it: the bed's own shape from now on. Tilts, head and stored map
// stay as they are.
func (p *Printer) Lay(s mechanics.Shape) {
	defer p.lock()()
	b := *p.body
	b.Shape = s
	p.body = &b
}

// Say sends an unasked line to whoever is connected: a button on the
// printer's own display.
func (p *Printer) Say(line string) { p.each(func(l *link) { l.unasked(line) }) }

// Print sets how far a print from the printer's own storage has come; total 0
// is none.
func (p *Printer) Print(done, total int64) {
	defer p.lock()()
	p.printing = [2]int64{done, total}
}

// Shift moves every node of the stored map by mm, as somebody does who changes
// it behind a program's back.
func (p *Printer) Shift(mm float64) {
	defer p.lock()()
	p.stored = p.stored.Clone()
	for _, row := range p.stored.Z {
		for i := range row {
			row[i] = mechanics.Round3(row[i] + mm)
		}
	}
}
