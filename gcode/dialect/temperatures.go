package dialect

import (
	"regexp"
	"slices"
	"strings"

	"abbed/gcode"
)

// Temps are the temperatures that the printer reports, degrees C.
type Temps struct {
	Nozzle, NozzleTarget float64
	Bed, BedTarget       float64
	// HasBed says that the bed was reported at all.
	HasBed bool
	// Targets says that a target was reported for every heater reported. If it
	// is false, nobody may conclude that the heaters are off.
	Targets bool
}

// ReadTemperatures reads ` T:20.1 /0.0 B:21.0 /0.0`, on a line of its own or on
// the ok. With several nozzles (T0, T1, ...) the first temperature and the
// highest target count. The last line that holds T counts.
func (d *Dialect) ReadTemperatures(r gcode.Reply) (Temps, bool) {
	for _, l := range slices.Backward(append(slices.Clone(r.Lines), r.OK)) {
		if l.Damaged || l.Kind == gcode.Fault {
			continue
		}
		if t, ok := tempsIn(l.Text); ok {
			return t, true
		}
	}
	return Temps{}, false
}

// heaterName is a heater's letter, perhaps its number, and a colon.
var heaterName = regexp.MustCompile(`(?:^|[ \t])([TB])(\d*):`)

func tempsIn(line string) (t Temps, ok bool) {
	t.Targets = true
	for _, m := range heaterName.FindAllStringSubmatchIndex(line, -1) {
		now, target, has, good := heater(line[m[1]:])
		switch nozzle := line[m[2]] == 'T'; {
		case !good, !nozzle && m[4] < m[5]:
			continue
		case !nozzle:
			t.Bed, t.BedTarget, t.HasBed = now, target, true
		case !ok:
			t.Nozzle, ok = now, true
			fallthrough
		default:
			t.NozzleTarget = max(t.NozzleTarget, target)
		}
		t.Targets = t.Targets && has
	}
	if !ok {
		return Temps{}, false
	}
	return t, true
}

// heater reads `20.1 /0.0` behind the heater's name.
func heater(s string) (now, target float64, hasTarget, ok bool) {
	v, rest, ok := number(strings.TrimLeft(s, " "))
	if !ok || !ends(rest) && rest[0] != '/' {
		return 0, 0, false, false
	}
	if s, ok = strings.CutPrefix(strings.TrimLeft(rest, " "), "/"); !ok {
		return v.v, 0, false, true
	}
	g, rest, ok := number(strings.TrimLeft(s, " "))
	if !ok || !ends(rest) {
		return v.v, 0, false, true
	}
	return v.v, g.v, true, true
}
