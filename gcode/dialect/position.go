package dialect

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"abbed/gcode"
)

// spoken gives the lines of a reply that may hold an answer: reports first, then
// echoes, comments and lines that begin with a temperature, in which some
// printers put theirs, then the ok itself.
// Damaged lines are left out.
func spoken(r gcode.Reply) (tiers [3][]string) {
	for _, l := range r.Lines {
		if l.Damaged {
			continue
		}
		switch l.Kind {
		case gcode.Report:
			tiers[0] = append(tiers[0], l.Text)
		case gcode.Echo, gcode.Comment, gcode.Temperatures:
			tiers[1] = append(tiers[1], bare(l))
		case gcode.OK:
			tiers[2] = append(tiers[2], l.Text[2:])
		}
	}
	if r.OK.Kind == gcode.OK && !r.OK.Damaged {
		tiers[2] = append(tiers[2], r.OK.Text[2:])
	}
	return tiers
}

// bare is the text of a line without the mark of an echo or a comment.
func bare(l gcode.Line) string {
	switch l.Kind {
	case gcode.Echo:
		return strings.TrimSpace(l.Text[len("echo:"):])
	case gcode.Comment:
		return strings.TrimSpace(strings.TrimLeft(l.Text, "/"))
	}
	return l.Text
}

// all gives the same lines in one list.
func all(r gcode.Reply) []string {
	t := spoken(r)
	return slices.Concat(t[:]...)
}

// byPattern reads the groups of the last line that the owner's pattern matches.
func (d *Dialect) byPattern(key string, r gcode.Reply) (v []value, ok bool) {
	re := d.patterns[key]
	for _, line := range slices.Backward(all(r)) {
		m := re.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		for _, n := range groups[key] {
			x, rest, ok := number(strings.TrimSpace(m[re.SubexpIndex(n)]))
			if !ok || rest != "" {
				return nil, false
			}
			v = append(v, x)
		}
		return v, true
	}
	return nil, false
}

// tripleBy is byPattern for X, Y and Z.
func (d *Dialect) tripleBy(key string, r gcode.Reply) (t triple, ok bool) {
	v, ok := d.byPattern(key, r)
	if ok {
		t = triple{x: v[0], y: v[1], z: v[2]}
	}
	return t, ok
}

// isPosition reports whether a line has the shape of a position report: after
// X, Y and Z it goes on with step counts.
func isPosition(line string, after int) bool {
	return count.MatchString(line[after:])
}

var count = regexp.MustCompile(`(?i)\bcount\b\W*[a-z]\W`)

// hasExtruder reports whether an extruder's value follows X, Y and Z, as in a
// position report, though some printers add it to a touch as well.
func hasExtruder(line string, after int) bool {
	return slices.ContainsFunc(axes(line[after:]), func(a axis) bool { return a.letter == 'E' })
}

// ReadPosition reads where the machine says it is, mm. A line of the shape of a
// position report is preferred to others that hold X, Y and Z; the last counts.
func (d *Dialect) ReadPosition(r gcode.Reply) (x, y, z float64, ok bool) {
	x, y, z, _, ok = d.ReadStop(r)
	return x, y, z, ok
}

// ReadStop is ReadPosition with how many decimals of z were said: for a straight
// probe that does not report where it stopped.
func (d *Dialect) ReadStop(r gcode.Reply) (x, y, z float64, decimals int, ok bool) {
	t, ok := d.stop(r)
	return t.x.v, t.y.v, t.z.v, t.z.decimals, ok
}

func (d *Dialect) stop(r gcode.Reply) (best triple, ok bool) {
	if d.patterns["position"] != nil {
		return d.tripleBy("position", r)
	}
	shaped := false
	for _, tier := range spoken(r) {
		for _, line := range tier {
			t := triples(line)
			if len(t) == 0 {
				continue
			}
			is := isPosition(line, t[0].end) || hasExtruder(line, t[0].end)
			if is || !shaped {
				best, ok, shaped = t[0], true, is
			}
		}
		if ok {
			break
		}
	}
	return best, ok
}

var countZ = regexp.MustCompile(`(?i)\bcount\b.*?[^a-z]z\s*[:=]?\s*([-+]?\d{1,9})(?:[^\d.]|$)`)

// ReadSteps reads the count of motor steps of Z in a position report (`... Count
// X:8000 Y:8000 Z:412`): where the machine stands, in units that the printer
// does not name, finer than its millimetres. ok is false if the report has none,
// or one with a point, which is not in steps.
func (d *Dialect) ReadSteps(r gcode.Reply) (z int64, ok bool) {
	for _, line := range all(r) {
		if m := countZ.FindStringSubmatch(line); m != nil {
			v, err := strconv.ParseInt(m[1], 10, 64)
			z, ok = v, err == nil
		}
	}
	return z, ok
}
