package dialect

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// absurd is the magnitude from which on a number is not believed, mm or
// degrees: ten metres, ten thousand degrees.
const absurd = 10000

// value is a number as it was said.
type value struct {
	v        float64
	decimals int
}

var numeral = regexp.MustCompile(`^[-+]?(?:\d+\.?\d*|\.\d+)`)

// number reads a number at the start of s: sign, digits and one point, no
// exponent (RS-274/NGC). rest begins after it. A point behind which nothing or a
// blank stands ends a sentence.
func number(s string) (v value, rest string, ok bool) {
	text := numeral.FindString(s)
	if whole, is := strings.CutSuffix(text, "."); is && (text == s || s[len(text)] == ' ') {
		text = whole
	}
	whole, frac, _ := strings.Cut(strings.TrimLeft(text, "+-"), ".")
	f, err := strconv.ParseFloat(text, 64)
	if err != nil || len(whole)+len(frac) > 15 || math.Abs(f) >= absurd {
		return value{}, s, false
	}
	return value{f + 0, len(frac)}, s[len(text):], true // + 0: no negative zero
}

// ends reports whether a number may end before rest: at the end, at a blank or
// a mark, before the unit mm, or before the next letter with its own number (no
// blanks, RS-274/NGC). A comma with a digit after it may be a decimal comma and
// is not taken; nor is anything that looks like an exponent.
func ends(rest string) bool {
	if end.MatchString(rest) {
		return true
	}
	if !isLetter(rest[0]) || strings.IndexByte("mexMEX", rest[0]) >= 0 { // a unit, an exponent, a hexadecimal number
		return false
	}
	_, after, ok := number(strings.TrimLeft(rest[1:], ":= "))
	return ok && ends(after)
}

var end = regexp.MustCompile("^(?:$|[ \t;)\\]}|/\"'>]|,(?:$|\\D)|\\.(?:$| )|[mM][mM](?:$|[^a-zA-Z\\d]))")

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

// axis is a letter with its value.
type axis struct {
	letter byte // upper case
	value
	end int // where the value ends in the line
}

// between are words that may stand between a letter and its value: `X position:
// 10.0`, `z is -0.03`. Others are not taken, lest `Z failed: 3` be a height.
var between = [...]string{"position", "pos", "coordinate", "coord", "offset", "height", "value", "axis", "is", "at", "min", "max"}

// axes finds all letters with values in a line. A letter counts if no letter or
// digit stands right before it.
func axes(t string) []axis {
	var found []axis
	for i := 0; i < len(t); i++ {
		if !isLetter(t[i]) || i > 0 && isLetter(t[i-1]) {
			continue
		}
		if i > 0 && isDigit(t[i-1]) && (len(found) == 0 || found[len(found)-1].end != i) {
			continue
		}
		rest := afterName(t[i+1:])
		v, rest, ok := number(rest)
		if !ok || !ends(rest) {
			continue
		}
		end := len(t) - len(rest)
		found = append(found, axis{t[i] &^ 0x20, v, end})
		i = end - 1
	}
	return found
}

// afterName drops what may stand between a letter and its value.
func afterName(s string) string {
	s = strings.TrimLeft(s, "\"' \t")
	for _, w := range between {
		if len(s) > len(w) && strings.EqualFold(s[:len(w)], w) && !isLetter(s[len(w)]) {
			s = strings.TrimLeft(s[len(w):], " \t")
			break
		}
	}
	if s != "" && (s[0] == ':' || s[0] == '=') {
		s = s[1:]
	}
	return strings.TrimLeft(s, " \t\"'")
}

// triple is X, Y and Z in this order.
type triple struct {
	x, y, z value
	end     int // where Z's value ends in the line
}

// triples finds values of X, Y and Z in this order, again and again. Other
// letters may stand between; a new X begins anew.
func triples(t string) []triple {
	if list := labelled(t); list != nil {
		return list
	}
	var found []triple
	var now triple
	have := 0
	for _, a := range axes(t) {
		switch {
		case a.letter == 'X':
			now, have = triple{x: a.value}, 1
		case a.letter == 'Y' && have == 1:
			now.y, have = a.value, 2
		case a.letter == 'Z' && have == 2:
			now.z, now.end, have = a.value, a.end, 0
			found = append(found, now)
		}
	}
	return found
}

// labelled finds the form in which the letters come first and the values after
// them: `XYZ: 1.0 2.0 3.0`, `(x, y, z) = (1, 2, 3)`, `X/Y/Z 1/2/3`.
func labelled(t string) []triple {
	for _, m := range labels.FindAllStringIndex(t, -1) {
		v, rest, ok := list3(t[m[1]:])
		if ok && (ends(rest) || rest[0] == ':') {
			return []triple{{v[0], v[1], v[2], len(t) - len(rest)}}
		}
	}
	return nil
}

var labels = regexp.MustCompile(`(?:^|[^a-zA-Z\d])[xX][ ,/;]*[yY][ ,/;]*[zZ][ \t:=()\[\]]*`)

// list3 reads three numbers with blanks, commas, semicolons or slashes between.
func list3(s string) (v [3]value, rest string, ok bool) {
	for k := range v {
		if k > 0 {
			cut := strings.TrimLeft(s, " \t,;/")
			if cut == s {
				return v, s, false
			}
			s = cut
		}
		if v[k], s, ok = number(s); !ok {
			return v, s, false
		}
	}
	return v, s, true
}
