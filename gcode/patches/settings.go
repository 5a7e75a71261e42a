package patches

import (
	"errors"
	"fmt"

	"abbed/probe/record"
)

// Rect is a rectangle of the bed, mm.
type Rect = record.Rect

// holds reports whether o lies in r.
func holds(r, o Rect) bool {
	const rounding = 1e-9
	return o.X0 >= r.X0-rounding && o.Y0 >= r.Y0-rounding && o.X1 <= r.X1+rounding && o.Y1 <= r.Y1+rounding
}

// Settings are what the person prints with.
type Settings struct {
	Size float64 // side of a patch, mm
	// Single lays one patch at each place: where nothing else tells the nozzle error, more
	// places tell its bends.
	Single bool
	Height float64 // of the layer, mm
	Width  float64 // of a line, mm, about; it divides the size evenly
	// Filament is its diameter, mm.
	Filament float64
	Speed    float64 // while printing, mm/s
	Travel   float64 // in X and Y between patches, mm/s
	Lift     float64 // of Z, mm/s
	// Clearance is the height at which the nozzle travels, mm.
	Clearance float64
	Retract   float64 // mm of filament drawn back for a travel
	// Nozzle and Bed are the temperatures that the file heats to, at most
	// NozzleMax and BedMax; 0 leaves the heating to the start file.
	Nozzle, Bed       float64
	NozzleMax, BedMax float64
	// Margin is how far inside the bed everything stays, mm.
	Margin float64
	// Levelling switches the stored levelling on after homing.
	Levelling string
	// Start and End are the person's own files, nil: ours.
	Start, End []byte
}

// Defaults returns Settings of a usual machine: a nozzle of 0.4 mm, filament of
// 1.75 mm (common practice, no source). The temperatures are the person's to say.
func Defaults() Settings {
	return Settings{Size: 20, Height: 0.2, Width: 0.45, Filament: 1.75, Speed: 20, Travel: 100, Lift: 8,
		Clearance: 5, Retract: 0.8, NozzleMax: 260, BedMax: 110, Margin: 3, Levelling: "M420 S1"}
}

// check returns everything that is wrong, each with its remedy.
func (s Settings) check() error {
	var errs []error
	for _, r := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"size", s.Size, 8, 60}, {"layer height", s.Height, 0.05, 1}, {"line width", s.Width, 0.1, 2},
		{"filament diameter", s.Filament, 1, 3.5}, {"printing speed", s.Speed, 1, 200}, {"travel speed", s.Travel, 5, 500}, {"Z speed", s.Lift, 0.5, 50},
		{"clearance", s.Clearance, 1, 50}, {"retraction", s.Retract, 0, 10}, {"margin", s.Margin, 0, 50},
	} {
		if !(r.v >= r.lo && r.v <= r.hi) {
			errs = append(errs, fmt.Errorf("%s %g: give %g to %g", r.name, r.v, r.lo, r.hi))
		}
	}
	if !(s.Height <= s.Width) {
		errs = append(errs, fmt.Errorf("layer height %g mm above the line width %g mm: such a line has no flat top; print thinner or wider", s.Height, s.Width))
	}
	if !(s.Clearance >= s.Height+0.5) {
		errs = append(errs, fmt.Errorf("clearance %g mm: travel over a printed patch needs 0.5 mm above it", s.Clearance))
	}
	for _, t := range []struct {
		name     string
		v, limit float64
	}{{"nozzle", s.Nozzle, s.NozzleMax}, {"bed", s.Bed, s.BedMax}} {
		if !(t.v >= 0 && t.v <= t.limit) {
			errs = append(errs, fmt.Errorf("%s temperature %g: at most %g may be asked for (heat.%s_max)", t.name, t.v, t.limit, t.name))
		}
	}
	if s.Nozzle == 0 && s.Start == nil {
		errs = append(errs, errors.New("no nozzle temperature: say what your filament needs (proof.nozzle), or give a start file that heats"))
	}
	errs = append(errs, s.files())
	return errors.Join(errs...)
}
