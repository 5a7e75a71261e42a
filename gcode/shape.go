package gcode

import "strings"

// isOK accepts `ok` alone or followed by something that is not part of a word.
func isOK(t string) bool {
	if !hasFold(t, "ok") {
		return false
	}
	return len(t) == 2 || t[2] == ' ' || t[2] == '\t' || t[2] == ':' || t[2] == ','
}

// isBanner accepts `start`, also after the garbage that a board may send while
// it resets.
func isBanner(t string) bool {
	const word = "start"
	if len(t) < len(word) || !strings.EqualFold(t[len(t)-len(word):], word) {
		return false
	}
	return strings.Trim(t[:len(t)-len(word)], "? \uFFFD") == ""
}

// tellsHalt knows a fault after which nothing is answered by the words that
// people use for it; a fault that uses others is noticed by the silence.
func tellsHalt(t string) bool {
	for _, w := range [...]string{"halt", "kill", "reset", "restart", "shutdown", "shut down", "emergency", "stopped"} {
		if containsFold(t, w) {
			return true
		}
	}
	return false
}

// isTemperatures accepts a line that begins with a heater's letter, an optional
// number, a colon and a number: `T:20.1 /0.0`, `T0:20.1`, `B:60.0 /60.0`.
func isTemperatures(t string) bool {
	if t[0] != 'T' && t[0] != 'B' && t[0] != 'C' {
		return false
	}
	i := 1
	for i < len(t) && t[i] >= '0' && t[i] <= '9' {
		i++
	}
	if i >= len(t) || t[i] != ':' {
		return false
	}
	for i++; i < len(t) && (t[i] == ' ' || t[i] == '-' || t[i] == '+'); i++ {
	}
	return i < len(t) && t[i] >= '0' && t[i] <= '9'
}

func endsNumber(tail string) bool {
	return tail == "" || strings.IndexByte(" \t,;.)]", tail[0]) >= 0
}

// leadingInt reads up to nine digits at the start of t.
func leadingInt(t string) (n int, rest string, ok bool) {
	i := 0
	for ; i < len(t) && t[i] >= '0' && t[i] <= '9'; i++ {
		if i == 9 {
			return 0, t, false
		}
		n = n*10 + int(t[i]-'0')
	}
	return n, t[i:], i > 0
}

// hasFold reports whether t begins with prefix, which is ASCII in lower case.
func hasFold(t, prefix string) bool {
	if len(t) < len(prefix) {
		return false
	}
	for i := 0; i < len(prefix); i++ {
		c := t[i]
		if c >= 'A' && c <= 'Z' {
			c |= 0x20
		}
		if c != prefix[i] {
			return false
		}
	}
	return true
}

// containsFold reports whether t holds word, which is ASCII in lower case.
func containsFold(t, word string) bool {
	for i := 0; i+len(word) <= len(t); i++ {
		if t[i]|0x20 == word[0] && hasFold(t[i:], word) {
			return true
		}
	}
	return false
}
