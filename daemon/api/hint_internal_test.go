package api

import (
	"testing"

	"abbed/config/say/saytest"
)

// TestHints: each hint is of a code that is, and is a plain sentence for its reader: a button
// on the page, a command at a terminal, and neither has a path of the API.
func TestHints(t *testing.T) {
	for code, of := range hints {
		if Codes[code] == "" {
			t.Errorf("there is no code %s", code)
		}
		for where, hint := range of {
			for _, f := range saytest.Faults(hint, saytest.Document) {
				t.Errorf("%s, %d: %s", code, where, f)
			}
		}
	}
	lost := Errorf(404, "not-found", "GET runs lists them", "no run %q", "b")
	for where, want := range map[Reader]string{Terminal: "abbed runs lists them.", Page: "Choose one of the list of runs."} {
		if got := HintAt(where, lost); got != want {
			t.Errorf("%d: %q, want %q", where, got, want)
		}
	}
	if got := HintAt(Page, Errorf(404, "not-found", "open the overview", "there is no screen /x")); got != "open the overview" {
		t.Errorf("a screen that is none: %q", got)
	}
}
