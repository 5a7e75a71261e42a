package dialect

import (
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

// number reads a number at the start of s: sign, digits and one point, no
// exponent (RS-274/NGC). rest begins after it.
func number(s string) (v value, rest string, ok bool) {
	i, digits, point := 0, 0, -1
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	for ; i < len(s); i++ {
		switch {
		case s[i] >= '0' && s[i] <= '9':
			digits++
			continue
		case s[i] == '.' && point < 0 && !sentenceEnd(s[i+1:], digits):
			point = i
			continue
		}
		break
	}
	if digits == 0 || digits > 15 {
		return value{}, s, false
	}
	f, err := strconv.ParseFloat(s[:i], 64)
	if err != nil || f >= absurd || f <= -absurd {
		return value{}, s, false
	}
	v.v = f
	if f == 0 {
		v.v = 0 // no negative zero
	}
	if point >= 0 {
		v.decimals = i - point - 1
	}
	return v, s[i:], true
}

// sentenceEnd reports whether a point after digits ends a sentence.
func sentenceEnd(after string, digits int) bool {
	return digits > 0 && (after == "" || after[0] == ' ')
}

// ends reports whether a number may end before rest: at the end, at a blank or
// a mark, before the unit mm, or before the next letter with its own number (no
// blanks, RS-274/NGC). A comma with a digit after it may be a decimal comma and
// is not taken; nor is anything that looks like an exponent.
func ends(rest string) bool {
	if rest == "" {
		return true
	}
	switch c := rest[0]; {
	case c == ' ' || c == '\t' || strings.IndexByte(";)]}|/\"'>", c) >= 0:
		return true
	case c == ',':
		return len(rest) == 1 || !isDigit(rest[1])
	case c == '.':
		return len(rest) == 1 || rest[1] == ' '
	case c == 'm' || c == 'M':
		if len(rest) >= 2 && rest[1]|0x20 == 'm' {
			return len(rest) == 2 || !isLetter(rest[2]) && !isDigit(rest[2])
		}
		return false
	case c|0x20 == 'e' || c|0x20 == 'x': // an exponent, a hexadecimal number
		return false
	case isLetter(c):
		_, after, ok := number(strings.TrimLeft(rest[1:], ":= "))
		return ok && ends(after)
	}
	return false
}

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
	for i := 0; i < len(t); i++ {
		if t[i]|0x20 != 'x' || i > 0 && (isLetter(t[i-1]) || isDigit(t[i-1])) {
			continue
		}
		rest, ok := label(t[i+1:], 'y')
		if ok {
			rest, ok = label(rest, 'z')
		}
		if !ok || rest != "" && isLetter(rest[0]) {
			continue
		}
		rest = strings.TrimLeft(rest, " \t:=()[]")
		v, rest, ok := list3(rest)
		if ok && (ends(rest) || rest[0] == ':') {
			return []triple{{v[0], v[1], v[2], len(t) - len(rest)}}
		}
	}
	return nil
}

// label finds the next letter of a heading, behind marks only.
func label(s string, letter byte) (rest string, ok bool) {
	s = strings.TrimLeft(s, " ,/;")
	if s == "" || s[0]|0x20 != letter {
		return s, false
	}
	return s[1:], true
}

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
