package gcode

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// maxText is the longest command, in characters (RS-274/NGC: 256).
const maxText = 256

// Class says how long a command may take.
type Class int

// Classes of commands.
const (
	Quick Class = iota // asks or sets
	Move               // moves, or waits for moves
	Touch              // probes at one place
	Home               // finds the machine's own zero
	Heat               // waits for a temperature
)

// String gives the name of the class.
func (c Class) String() string {
	if c < Quick || c > Heat {
		return fmt.Sprintf("Class(%d)", int(c))
	}
	return [...]string{"quick", "move", "touch", "home", "heat"}[c]
}

// Hint tells a Session what to expect of a command.
type Hint func(*command)

// In says that the command belongs to class c. Without it a Query is Quick and
// a Motion is Move.
func In(c Class) Hint { return func(k *command) { k.class = c } }

// Needs says that the answer is worthless without a report that has accepts;
// lines are those heard so far, without busy lines. With framing, the Session
// makes sure that a missing report is the printer's will and not damage.
// has must be pure, and quick: it is called under the session's lock.
func Needs(has func(lines []Line) bool) Hint { return func(k *command) { k.needs = has } }

// command is what Query and Motion share.
type command struct {
	text  string
	class Class
	needs func([]Line) bool
}

// Query is a command that asks or sets and moves nothing. It may be sent more
// than once without harm.
type Query struct{ command }

// Motion is a command that may move or heat.
type Motion struct{ command }

// NewQuery returns a Query. It panics if CheckQuery refuses the text: text from
// settings must be checked when it is read.
func NewQuery(text string, hints ...Hint) Query {
	if err := CheckQuery(text); err != nil {
		panic(err.Error())
	}
	return Query{build(text, Quick, hints)}
}

// NewMotion returns a Motion. It panics if Check refuses the text.
func NewMotion(text string, hints ...Hint) Motion {
	if err := Check(text); err != nil {
		panic(err.Error())
	}
	return Motion{build(text, Move, hints)}
}

func build(text string, class Class, hints []Hint) command {
	k := command{text: text, class: class}
	for _, h := range hints {
		h(&k)
	}
	return k
}

// Text returns the command as it is sent, without number and check.
func (k command) Text() string { return k.text }

// Class returns the class of the command.
func (k command) Class() Class { return k.class }

// String returns the text.
func (k command) String() string { return k.text }

// Check tells why text cannot be sent as one command: it must be one line of
// printable ASCII, at most 256 characters, that begins with a letter, has no
// star and no semicolon (they would start a check or a comment), and no N at
// its start (which would be a line number).
func Check(text string) error {
	switch {
	case strings.TrimSpace(text) == "":
		return errors.New("gcode: empty command")
	case len(text) > maxText:
		return fmt.Errorf("gcode: command of %d characters, at most %d are taken", len(text), maxText)
	}
	for i := 0; i < len(text); i++ {
		if c := text[i]; c < ' ' || c > '~' || c == '*' || c == ';' {
			return fmt.Errorf("gcode: command %q: character %q is not allowed", text, c)
		}
	}
	if c := text[0] | 0x20; c < 'a' || c > 'z' || c == 'n' {
		return fmt.Errorf("gcode: command %q: does not begin with a word", text)
	}
	return nil
}

// CheckQuery is Check for a Query: it also refuses every word that is known to
// move or to heat.
func CheckQuery(text string) error {
	if err := Check(text); err != nil {
		return err
	}
	if w := movingWord(text); w != "" {
		return fmt.Errorf("gcode: query %q: %s moves or heats", text, w)
	}
	return nil
}

// moving are the words that move or heat: G0 to G3, homing and probing, heaters
// and fans of heat (common practice, no source; G38 from RS-274/NGC).
var moving = map[string]bool{
	"G0": true, "G1": true, "G2": true, "G3": true, "G5": true, "G28": true, "G29": true,
	"G30": true, "G33": true, "G34": true, "G38": true, "G76": true, "G80": true,
	"M48": true, "M104": true, "M109": true, "M140": true, "M141": true, "M190": true, "M191": true,
	"M303": true, "M600": true, "M701": true, "M702": true, "M23": true, "M24": true, "M32": true,
}

// numbered is a word: letters, and its number without leading zeros.
var numbered = regexp.MustCompile(`([A-Z]+)0*(\d+)`)

// movingWord returns the first word of text that moves or heats, or "". Blanks,
// leading zeros and digits after a point do not hide a word: G 1, G01, G38.2.
func movingWord(text string) string {
	up := strings.ToUpper(strings.ReplaceAll(text, " ", ""))
	for _, m := range numbered.FindAllStringSubmatch(up, -1) {
		if w := m[1] + m[2]; moving[w] {
			return w
		}
	}
	return ""
}
