package dialect

import (
	"regexp"
	"strings"

	"abbed/gcode"
	"abbed/probe/record"
)

// Limits are the limits of the nozzle's travel, not of the bed.
type Limits struct {
	Travel record.Travel
	// On is whether they are in force, if Known.
	On, Known bool
}

var (
	switchWord = regexp.MustCompile(`(?i)\b(on|off|enabled|disabled|active|inactive)\b`)
	switchS    = regexp.MustCompile(`(?i)\bS\s*[:=]?\s*([01])\b`)
)

// stateIn reads on or off from words, or from S0 and S1.
func stateIn(s string) (on, ok bool) {
	if m := switchWord.FindString(s); m != "" {
		return isOn(m)
	}
	if m := switchS.FindStringSubmatch(s); m != nil {
		return m[1] == "1", true
	}
	return false, false
}

var states = map[string]bool{
	"on": true, "enabled": true, "active": true, "1": true, "true": true, "yes": true,
	"off": false, "disabled": false, "inactive": false, "0": false, "false": false, "no": false,
}

func isOn(word string) (on, ok bool) {
	on, ok = states[strings.ToLower(word)]
	return on, ok
}

// ReadLimits reads two triples X Y Z, lower then upper, on one line or on two,
// and on or off. ok is false unless there are exactly two, each lower value
// below its upper one.
func (d *Dialect) ReadLimits(r gcode.Reply) (Limits, bool) {
	lines := linesOf(all(r), firstWord(d.templates["limits"]))
	var lim Limits
	var found []triple
	if d.patterns["limits"] != nil {
		v, ok := d.byPattern("limits", r)
		if !ok {
			return Limits{}, false
		}
		found = []triple{{x: v[0], y: v[1], z: v[2]}, {x: v[3], y: v[4], z: v[5]}}
	}
	for _, line := range lines {
		if on, ok := stateIn(line); ok && !lim.Known {
			lim.On, lim.Known = on, true
		}
		if t := triples(line); d.patterns["limits"] == nil && len(t) > 0 && !isPosition(line, t[len(t)-1].end) {
			found = append(found, t...)
		}
	}
	if len(found) != 2 {
		return Limits{}, false
	}
	lo, hi := found[0], found[1]
	lim.Travel = record.Travel{Rect: record.Rect{X0: lo.x.v, Y0: lo.y.v, X1: hi.x.v, Y1: hi.y.v}, Z0: lo.z.v, Z1: hi.z.v}
	if !lim.Travel.Valid() || lim.Travel.Z1 <= lim.Travel.Z0 {
		return Limits{}, false
	}
	return lim, true
}
