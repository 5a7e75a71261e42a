package room

import (
	"strings"
	"testing"

	"abbed/daemon/api"
	"abbed/daemon/status"
)

// What is to be done about a correction is what would not be refused, and what a proof
// that failed says.
func TestTodo(t *testing.T) {
	for name, c := range map[string]struct {
		s    status.Snapshot
		says string
	}{
		"another lever":  {status.Snapshot{Expiry: status.ExpiredLever}, "undo the correction and measure anew"},
		"another map":    {status.Snapshot{Expiry: status.ExpiredMap}, "put the correction on again"},
		"another tilt":   {status.Snapshot{Expiry: status.ExpiredTwist}, "undo the correction"},
		"a level moved":  {status.Snapshot{Applied: api.Applied{Error: &api.Error{Code: "not-proved", Hint: "set its Z offset lower"}}}, "set its Z offset lower"},
		"another fault":  {status.Snapshot{Applied: api.Applied{Error: &api.Error{Code: "read-back", Hint: "look at the map"}}}, ""},
		"nothing at all": {status.Snapshot{}, ""},
	} {
		said := todo(c.s)
		if c.says == "" && len(said) != 0 || c.says != "" && (len(said) != 1 || !strings.HasPrefix(said[0], c.says)) {
			t.Errorf("%s: %q, want %q", name, said, c.says)
		}
	}
}
