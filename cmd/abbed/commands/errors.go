package commands

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"abbed/daemon/api"
	"abbed/gcode/port"
)

// led is an error that begins with the name of the command it comes from.
var led = regexp.MustCompile(`^(?:[a-z-]+: )`)

// TellError says at a terminal what was refused, once, and in a second line what to do
// there.
func TellError(w io.Writer, err error) {
	text, hint := err.Error(), ""
	var unopened *port.OpenError
	var refusal *api.Error
	switch {
	case errors.As(err, &refusal):
		text, hint = strings.Replace(text, refusal.Error(), refusal.Text, 1), api.HintAt(api.Terminal, refusal)
	case errors.As(err, &unopened):
		hint = unopened.Hint
	}
	who := "abbed"
	if at := led.FindString(text); at != "" && isCommand(strings.TrimSuffix(at, ": ")) {
		who, text = "abbed "+strings.TrimSuffix(at, ": "), text[len(at):]
	}
	fmt.Fprintf(w, "%s: %s\n", who, sentence(text))
	if hint != "" && !strings.Contains(text, hint) {
		fmt.Fprintf(w, "    %s\n", sentence(hint))
	}
}

// isCommand reports whether there is a command of that name, below another one too.
func isCommand(name string) bool {
	for _, c := range Commands().Commands() {
		if c.Name() == name {
			return true
		}
		for _, below := range c.Commands() {
			if below.Name() == name {
				return true
			}
		}
	}
	return false
}

// sentence gives a text its capital and its full stop. A text of several lines, and one
// that begins with what has to stay as it is typed, keeps its beginning.
func sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" || strings.Contains(text, "\n") {
		return text
	}
	first, n := utf8.DecodeRuneInString(text)
	word, _, _ := strings.Cut(text, " ")
	if unicode.IsLower(first) && !strings.ContainsAny(word, "./_{=:0123456789") && word != "abbed" {
		text = string(unicode.ToUpper(first)) + text[n:]
	}
	if last := text[len(text)-1]; !strings.ContainsRune(".?!:", rune(last)) && word != "abbed" {
		text += "."
	}
	return text
}
