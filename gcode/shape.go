package gcode

import (
	"regexp"
	"strings"
)

// shapes are the kinds of lines in the order in which they are tried, on text whose
// capitals are folded; what is of no other kind is a Report.
var shapes = []struct {
	kind Kind
	re   *regexp.Regexp
}{
	{Empty, regexp.MustCompile(`^$`)},
	{OK, regexp.MustCompile(`^ok(?:$|[ \t:,])`)},         // not the beginning of a word
	{Banner, regexp.MustCompile(`^[? \x{FFFD}]*start$`)}, // also after what a board sends while it resets
	{Fault, regexp.MustCompile(`^(?:!!|error:)`)},
	// `Resend: 5`, `resend 5`, `Resend:N5`, `rs 5`, `rs N5`; a number that cannot be
	// read is none.
	{Resend, regexp.MustCompile(`^(?:resend|rs[ :])[:= \t]*(?:n[: ]*)?(?:` + whole + `)?`)},
	{Report, regexp.MustCompile(`^cap:`)}, // that it can say busy
	{Busy, regexp.MustCompile(`busy`)},
	// A heater's letter, perhaps its number, a colon and a number: `T:20.1 /0.0`,
	// `T0:20.1`, `B:60.0 /60.0`.
	{Temperatures, regexp.MustCompile(`^[TBC]\d*:[ +-]*\d`)},
	{Comment, regexp.MustCompile(`^//`)},
	{Echo, regexp.MustCompile(`^echo:`)},
	{Wait, regexp.MustCompile(`^wait$`)},
	{Report, regexp.MustCompile(``)},
}

// whole is a line number that ends where a number may.
const whole = `(\d{1,9})(?:$|[ \t,;.)\]])`

var (
	// lastLine is what a fault says that asks for a line again.
	lastLine = regexp.MustCompile(`last line[: =\t]*` + whole)
	// halting are the words that people use for a fault after which nothing is
	// answered; one that uses others is noticed by the silence.
	halting = regexp.MustCompile(`halt|kill|reset|restart|shut ?down|emergency|stopped`)
	okWord  = regexp.MustCompile(`^([NPB])(\d{1,9})$`)
)

// fold makes the capitals of ASCII small: a letter of another script stays what it is.
func fold(t string) string {
	return strings.Map(func(r rune) rune {
		if 'A' <= r && r <= 'Z' {
			r |= 0x20
		}
		return r
	}, t)
}
