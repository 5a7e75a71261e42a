package api

import (
	"net/http"
	"strings"

	"abbed/config/outside"
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
	case outside.Text(name) != name:
		return "", bad("holds characters that cannot be seen")
	}
	return name, nil
}
