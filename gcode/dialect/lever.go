package dialect

import (
	"math"
	"regexp"
	"strings"

	"abbed/gcode"
	"abbed/probe/record"
)

// Largest believable offsets of a probe from the nozzle, mm (common practice,
// no source): wider than any head.
const (
	longestLever  = 200
	largestOffset = 50
)

// coded knows a line of a settings report: `M92 X80.00 ...`.
var coded = regexp.MustCompile(`(?i)^[\s;]*([GM]\d+(?:\.\d+)?)\b`)

// ReadLever reads the probe's offset from the nozzle, mm, and the Z offset of
// its trigger, mm, as the printer says it. In a settings report only the line
// with the lever's word counts; otherwise the line that holds X, Y and Z. If two
// such lines differ there is no answer.
func (d *Dialect) ReadLever(r gcode.Reply) (l record.Lever, zOffset float64, ok bool) {
	if d.patterns["lever"] != nil {
		return believable(d.tripleBy("lever", r))
	}
	var found []triple
	for _, line := range linesOf(all(r), firstWord(d.templates["lever"])) {
		if t := triples(line); len(t) == 1 && !isPosition(line, t[0].end) {
			found = append(found, t[0])
		}
	}
	for _, t := range found {
		if t.x.v != found[0].x.v || t.y.v != found[0].y.v || t.z.v != found[0].z.v {
			return l, 0, false
		}
	}
	if len(found) == 0 {
		return l, 0, false
	}
	return believable(found[0], true)
}

func believable(t triple, ok bool) (record.Lever, float64, bool) {
	if !ok || math.Abs(t.x.v) > longestLever || math.Abs(t.y.v) > longestLever || math.Abs(t.z.v) > largestOffset {
		return record.Lever{}, 0, false
	}
	return record.Lever{X: t.x.v, Y: t.y.v}, t.z.v, true
}

// linesOf returns the lines that speak of word: those that begin with it if
// there are any, else those that begin with no command word at all.
func linesOf(lines []string, word string) []string {
	var own, plain []string
	report := false // of all settings: a plain line among them may be of anything
	for _, line := range lines {
		m := coded.FindStringSubmatch(line)
		switch {
		case m != nil && strings.EqualFold(m[1], word):
			own = append(own, line)
		case m != nil:
			report = true
		case !isRefusal(line):
			plain = append(plain, line)
		}
	}
	if own != nil || report {
		return own
	}
	return plain
}

// isRefusal knows the sentence that a printer says about a word that it
// does not know: it holds the word in quotes.
func isRefusal(line string) bool {
	return strings.Contains(line, `"`) && strings.Contains(line, "M")
}
