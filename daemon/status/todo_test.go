package status_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
)

// What is to be done is what would not be refused, the gravest first, and what a
// verification that failed says.
func TestTodo(t *testing.T) {
	kept := api.Applied{State: api.Kept}
	level := kept
	level.Error = &api.Error{Code: "not-proved", Hint: "set its Z offset lower"}
	waits, runs := &api.Run{State: api.AwaitingConfirmation}, &api.Run{State: api.Running}
	for name, c := range map[string]struct {
		s    status.Snapshot
		ids  string
		says string
	}{
		"nothing":              {status.Snapshot{Applied: kept}, "", ""},
		"half written":         {status.Snapshot{Applied: api.Applied{State: api.Unfinished}}, "half-written", "Undo the correction, or finish it. Do not print before."},
		"half failed":          {status.Snapshot{Applied: api.Applied{State: api.ApplyFailed, Half: true}}, "map-in-doubt", "Undo the correction."},
		"in doubt":             {status.Snapshot{Applied: api.Applied{State: api.ApplyFailed}}, "map-in-doubt", "Have the printer measure its bed map again"},
		"owed":                 {status.Snapshot{Printer: api.Printer{Owed: []string{"idle", "levelling"}}}, "owed", "To be put back: the idle switch-off of the motors, the levelling."},
		"owed in a run":        {status.Snapshot{Printer: api.Printer{Owed: []string{"idle"}}, Run: runs}, "", ""},
		"another lever":        {status.Snapshot{Applied: kept, Expiry: status.ExpiredLever}, "expired-lever", "Undo the correction, then measure again."},
		"another map":          {status.Snapshot{Applied: kept, Expiry: status.ExpiredMap}, "expired-map", "Apply the correction again"},
		"a mixed map":          {status.Snapshot{Applied: kept, Expiry: status.ExpiredMixed}, "expired-map", "Have the printer measure its bed map again, then apply"},
		"beyond a correction":  {status.Snapshot{Analysis: &api.Analysis{Findings: []api.Finding{{ID: "drift"}, {ID: "repair"}}}}, "repair", "No correction is offered."},
		"play":                 {status.Snapshot{Steady: &api.Stability{Failed: "loose-carriage"}}, "unsteady", "Repair before you correct."},
		"a full disk":          {status.Snapshot{At: time.Now(), Kept: status.Kept{Free: 0}}, "disk", "Make room"},
		"a disk with room":     {status.Snapshot{At: time.Now(), Kept: status.Kept{Free: 1 << 30}}, "", ""},
		"a disk not known":     {status.Snapshot{At: time.Now(), Kept: status.Kept{Free: -1}}, "", ""},
		"steady":               {status.Snapshot{Steady: &api.Stability{Steady: true}}, "", ""},
		"another tilt":         {status.Snapshot{Applied: kept, Expiry: status.ExpiredTwist}, "expired-twist", "Undo the correction"},
		"another printer":      {status.Snapshot{Applied: kept, Expiry: status.ExpiredPrinter}, "other-printer", "nothing is written"},
		"a level moved":        {status.Snapshot{Applied: level}, "not-verified", "Set its Z offset lower."},
		"another fault":        {status.Snapshot{Applied: api.Applied{State: api.Kept, Error: &api.Error{Code: "read-back"}}}, "", ""},
		"a run waits, no link": {status.Snapshot{Printer: api.Printer{Link: api.Lost}, Run: waits}, "link-lost run-waits", "withdraw"},
		"a check":              {status.Snapshot{Check: status.Check{Due: time.Now().Add(-time.Hour)}}, "check-due", ""},
	} {
		var ids []string
		text := ""
		for _, d := range status.Todo(c.s) {
			ids, text = append(ids, d.ID), text+d.Act+" "+d.Says+" "
		}
		if strings.Join(ids, " ") != c.ids || !strings.Contains(text, c.says) {
			t.Errorf("%s: %q %q, want %q %q", name, ids, text, c.ids, c.says)
		}
	}
}

// Each state has an id of its own, and plain sentences.
func TestMatters(t *testing.T) {
	plain := regexp.MustCompile(`^([A-Z][^.]*\. ?)+$`)
	seen := map[string]bool{}
	for _, m := range status.Matters() {
		if seen[m.ID] || !plain.MatchString(m.Act) || m.ID != status.TodoOwed && !plain.MatchString(m.Says) {
			t.Errorf("%+v", m)
		}
		seen[m.ID] = true
		for _, s := range strings.SplitAfter(m.Act+" "+m.Says, ".") {
			if n := len(strings.Fields(s)); n > 15 {
				t.Errorf("%d words: %s", n, s)
			}
		}
		for _, c := range m.Commands {
			if !strings.HasPrefix(c, "abbed ") {
				t.Errorf("%q is no command of abbed", c)
			}
		}
	}
}
