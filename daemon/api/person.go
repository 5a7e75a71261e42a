package api

import (
	"net/http"
	"strings"
	"unicode"
	"unicode/utf8"
)

// longestName is how long the name of a person may be, bytes.
const longestName = 200

// CheckPerson returns the name of whoever gives their word, without the blanks
// around it. The name goes into a log that is never changed, and is shown in
// terminals and on pages: what moves a cursor or turns the direction of writing
// is refused, like a name that is missing or too long (422, "bad-value").
func CheckPerson(name string) (string, error) {
	bad := func(text string) error {
		return Errorf(http.StatusUnprocessableEntity, "bad-value", "give the name as it is written: letters, digits, blanks", "\"person\": the name %s", text)
	}
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return "", bad("of the person who gives their word is missing")
	case len(name) > longestName:
		return "", bad("is longer than 200 bytes")
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unseen):
		return "", bad("holds characters that cannot be seen")
	}
	return name, nil
}

// Visible returns a text of somebody else's as it can be shown in a terminal or
// on a page: what cannot be seen is a question mark.
func Visible(s string) string {
	return strings.Map(func(c rune) rune {
		if unseen(c) {
			return '?'
		}
		return c
	}, strings.ToValidUTF8(s, "?"))
}

// unseen are control characters, and those that turn the direction of what
// follows (Unicode Standard Annex 9, 2.1 and 2.2).
func unseen(c rune) bool { return unicode.IsControl(c) || unicode.Is(unicode.Bidi_Control, c) }
