package main

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

// hints are what to do at a terminal about a refusal of the daemon, by its code. The page
// and the API say the same fact, each with a hint of its own. A code that is not here has
// one hint for all.
var hints = map[string]string{
	"unopened":          "Open the page, and let it open the port there, while nothing prints.",
	"run-active":        "Wait for its end, or stop it: abbed stop.",
	"expired":           "Measure again: abbed measure.",
	"not-applied":       "Review and approve a correction on the page first.",
	"no-gauging":        "Take readings: abbed measure gauging.",
	"unknown-step":      "Name some of: repeat, gauging, survey, plate-turn, coupons, angles, reference.",
	"cautions-missing":  "Read each caution, and name it with --caution ID.",
	"not-ready":         "Wait for the end of the run: abbed status.",
	"map-area-unknown":  "Set map_area in the settings file, then abbed measure again.",
	"wrong-host":        "Use --printer NAME, or the address that abbed serve printed.",
	"unauthorized":      "Use sudo, or name the operator's token with --token-file.",
	"forbidden":         "Use sudo, or name the operator's token with --token-file.",
	"printer-changed":   "Connect its own printer, or abbed correction undo.",
	"map-changed":       "Let the printer measure its bed map again, then abbed measure.",
	"journal-damaged":   "Let the printer measure its bed map again, then abbed measure.",
	"no-proof-print":    "Change the setting that it names: --set, or the settings file.",
	"table-refused":     "abbed runs report says what to do.",
	"not-comparable":    "Name two runs of the same printer: abbed runs.",
	"too-many":          "Wait a minute.",
	"connecting":        "Wait, and look at abbed status.",
	"applied-busy":      "Wait for its end: abbed status.",
	"owed":              "Stand at the printer. Put it back on the page, or by the command of abbed status.",
	"finding-repair":    "abbed workshop repair",
	"store-damaged":     "Keep a copy: abbed data export FILE. Then look at the log.",
	"printer-halted":    "Look at the printer, and reset it at its own switch.",
	"printer-restarted": "Look at the printer, then abbed measure again.",
}

// led is an error that begins with the name of the command it comes from.
var led = regexp.MustCompile(`^(?:[a-z-]+: )`)

// tellError says at a terminal what was refused, once, and in a second line what to do
// there.
func tellError(w io.Writer, err error) {
	text, hint := err.Error(), ""
	var unopened *port.OpenError
	var refusal *api.Error
	switch {
	case errors.As(err, &refusal):
		text, hint = strings.Replace(text, refusal.Error(), refusal.Text, 1), refusal.Hint
		if own := hints[refusal.Code]; own != "" {
			hint = own
		} else if refusal.Code == "not-found" && strings.HasPrefix(refusal.Text, "no run") {
			hint = "abbed runs lists them."
		}
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
	for _, c := range commands().Commands() {
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
