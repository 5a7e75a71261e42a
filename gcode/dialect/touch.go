package dialect

import (
	"regexp"
	"strings"

	"abbed/gcode"
)

// ReadTouch reads the report of a touch: x, y, z in mm and how many decimals of
// z were said (the step of the report is 10^-decimals mm).
//
// It is a line that holds values of X, Y and Z in this order, whatever the words
// between, or a bracketed x,y,z with a success flag (RS-274/NGC straight probe:
// `[...:1.0,2.0,-0.03:1]`). If several lines do, the last counts: the slow touch
// comes after the fast one; lines with an extruder's E count only if there are
// no others. A position report (with step counts after Z) is no touch. ok is
// false if there is none, or if the flag says that nothing was touched.
func (d *Dialect) ReadTouch(r gcode.Reply) (x, y, z float64, decimals int, ok bool) {
	t, ok := d.touch(r)
	return t.x.v, t.y.v, t.z.v, t.z.decimals, ok
}

func (d *Dialect) touch(r gcode.Reply) (t triple, ok bool) {
	if d.patterns["touch"] != nil {
		return d.tripleBy("touch", r)
	}
	for _, tier := range spoken(r) {
		if t, failed, ok := touchAmong(tier); ok || failed {
			return t, ok
		}
	}
	return t, false
}

// touchAmong reads the last touch of some lines.
func touchAmong(lines []string) (best triple, failed, ok bool) {
	second := false // best has an extruder's value beside it
	for _, line := range lines {
		v, miss, is := touchIn(line)
		switch {
		case miss:
			best, failed, ok = triple{}, true, false
		case is && hasExtruder(line, v.end) && ok && !second:
		case is:
			best, failed, ok, second = v, false, true, hasExtruder(line, v.end)
		}
	}
	return best, failed, ok
}

// touchIn reads one line. failed says that it reports a probe without contact.
func touchIn(line string) (v triple, failed, ok bool) {
	if v, flag, ok := bracketed(line); ok {
		return v, !flag, flag
	}
	t := triples(line)
	if len(t) == 0 || isPosition(line, t[0].end) {
		return triple{}, false, false
	}
	return t[0], false, true
}

// bracketed reads `[words:x,y,z:flag]`: the words may be missing, blanks are
// free. The flag is 1 or 0; without it there is no answer.
func bracketed(line string) (v triple, flag, ok bool) {
	m := brackets.FindStringSubmatchIndex(line)
	if m == nil {
		return v, false, false
	}
	n, rest, ok := list3(line[m[2]:m[3]])
	rest = strings.Trim(rest, " :,;")
	if !ok || rest != "1" && rest != "0" {
		return v, false, false
	}
	return triple{n[0], n[1], n[2], m[3]}, rest == "1", true
}

var brackets = regexp.MustCompile(`\[ *(?:[a-zA-Z][^:\]]*: *)?([^\]]*)\]`)
