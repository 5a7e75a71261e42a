package gcode

import (
	"bytes"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"abbed/config/outside"
)

// Kind tells lines apart by their shape.
type Kind int

// Kinds of lines. What is of no other kind is a Report.
const (
	Empty        Kind = iota // nothing, blanks, NULs
	OK                       // ends a command: `ok`, `ok N5 P15 B3`, `ok T:20.0 /0.0`
	Busy                     // holds `busy`: the command is still being done
	Resend                   // `Resend: 5`, `rs 5`: the printer wants line 5
	Banner                   // `start`: the board restarted, all state is gone
	Fault                    // `Error:...` or `!!`
	Temperatures             // ` T:20.0 /0.0 B:...`
	Echo                     // `echo:...`
	Comment                  // `// ...`
	Wait                     // `wait`: the printer has nothing to do
	Report                   // anything else
)

var kindNames = [...]string{"empty", "ok", "busy", "resend", "banner", "fault", "temperatures", "echo", "comment", "wait", "report"}

// String gives the name of the kind.
func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return "unknown"
	}
	return kindNames[k]
}

// None stands in Line.Number and its like for a number that was not said.
const None = -1

// Line is one line that the printer said.
type Line struct {
	Kind Kind
	// Text is the line without line end, NULs and outer blanks; bytes that are
	// not UTF-8 and what cannot be seen (outside.Seen) stand as '?'.
	Text string
	// Number is the line number asked for again (Resend, and a Fault that says
	// `Last Line: k`, which asks for k+1), or the N of an OK; else None.
	Number int
	// Planner and Buffer are P and B of an OK (free places), or None.
	Planner, Buffer int
	// Halts says of a Fault that nothing will be answered until a reset.
	Halts bool
	// Damaged says that the line held bytes that no printer sends, or was too
	// long: its numbers are not to be believed.
	Damaged bool
	// Heard is when its last byte came; zero from ParseLine.
	Heard time.Time
}

// maxLine is the longest line kept, in bytes; the rest is dropped and the line
// marked as damaged. The longest known answers (an identity) are below 1 KB.
const maxLine = 4096

// ParseLine tells what a line is, from its shape alone. b is the line with or
// without its end; it is not kept. Any bytes are taken, none panics.
func ParseLine(b []byte) Line {
	l := Line{Number: None, Planner: None, Buffer: None}
	if len(b) > maxLine {
		b, l.Damaged = b[:maxLine], true
	}
	var damaged bool
	l.Text, damaged = clean(b)
	l.Damaged = l.Damaged || damaged
	l.sort()
	return l
}

// clean returns b as readable text and whether it held anything unreadable.
// NULs are dropped without blame: some boards send them while they start.
func clean(b []byte) (text string, damaged bool) {
	b = bytes.Trim(b, "\r\n\t \x00")
	if string(b) == "ok" {
		return "ok", false // by far the most frequent: no copy
	}
	plain := true
	for _, c := range b {
		if (c < ' ' && c != '\t') || c > '~' {
			plain = false
			break
		}
	}
	if plain {
		return string(b), false
	}
	var s strings.Builder
	s.Grow(len(b))
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		switch {
		case r == 0 || r == '\r':
		case r == utf8.RuneError && n <= 1, unicode.IsControl(r) && r != '\t':
			s.WriteByte('?')
			damaged = true
		case !outside.Seen(r) && r != '\t':
			s.WriteByte('?')
		default:
			s.WriteRune(r)
		}
		b = b[n:]
	}
	return strings.Trim(s.String(), " \t"), damaged
}

// sort finds the kind of l from its text.
func (l *Line) sort() {
	low := fold(l.Text)
	for _, s := range shapes {
		text := low
		if s.kind == Temperatures { // whose letters are capitals
			text = l.Text
		}
		m := s.re.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		switch l.Kind = s.kind; l.Kind {
		case OK:
			l.okNumbers()
		case Resend:
			l.Number = number(m[1])
		case Fault:
			l.fault(m[0], low)
		}
		return
	}
}

// fault reads whether a fault asks for a line again, by the last number that it says,
// and whether it halts.
func (l *Line) fault(begins, low string) {
	if l.Halts = begins == "!!"; l.Halts {
		return
	}
	if all := lastLine.FindAllStringSubmatch(low, -1); all != nil {
		l.Number = number(all[len(all)-1][1]) + 1
	}
	l.Halts = l.Number == None && halting.MatchString(low)
}

// okNumbers reads N, P and B of an ok. A letter that is followed by a colon is a
// temperature.
func (l *Line) okNumbers() {
	for w := range strings.SplitSeq(l.Text[len("ok"):], " ") {
		m := okWord.FindStringSubmatch(w)
		if m == nil {
			continue
		}
		switch n := number(m[2]); m[1] {
		case "N":
			l.Number = n
		case "P":
			l.Planner = n
		case "B":
			l.Buffer = n
		}
	}
}

// number is the value of up to nine digits, None of none.
func number(digits string) int {
	n, err := strconv.Atoi(digits)
	if err != nil {
		return None
	}
	return n
}
