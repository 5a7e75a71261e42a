package dialect

import (
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

func tempsIn(line string) (t Temps, ok bool) {
	t.Targets = true
	for i := 0; i < len(line); i++ {
		if line[i] != 'T' && line[i] != 'B' || i > 0 && line[i-1] != ' ' && line[i-1] != '\t' {
			continue
		}
		numbered := i+1 < len(line) && isDigit(line[i+1])
		now, target, has, good := heater(line[i+1:])
		switch {
		case !good:
			continue
		case line[i] == 'B' && !numbered:
			t.Bed, t.BedTarget, t.HasBed = now, target, true
		case line[i] == 'T':
			if !ok {
				t.Nozzle, ok = now, true
			}
			t.NozzleTarget = max(t.NozzleTarget, target)
		default:
			continue
		}
		t.Targets = t.Targets && has
	}
	if !ok {
		return Temps{}, false
	}
	return t, true
}

// heater reads `0:20.1 /0.0` behind the heater's letter.
func heater(s string) (now, target float64, hasTarget, ok bool) {
	s = strings.TrimLeft(s, "0123456789")
	if !strings.HasPrefix(s, ":") {
		return 0, 0, false, false
	}
	v, rest, ok := number(strings.TrimLeft(s[1:], " "))
	if !ok || !ends(rest) && rest[0] != '/' {
		return 0, 0, false, false
	}
	rest = strings.TrimLeft(rest, " ")
	if !strings.HasPrefix(rest, "/") {
		return v.v, 0, false, true
	}
	g, rest, ok := number(strings.TrimLeft(rest[1:], " "))
	if !ok || !ends(rest) {
		return v.v, 0, false, true
	}
	return v.v, g.v, true, true
}
