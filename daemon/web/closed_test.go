package web_test

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"

	"abbed/config"
	"abbed/daemon/web/description"
)

// No verb takes a setting: whoever is on the network can neither name a command
// that is run on this machine, nor a template or pattern of the wire. Bodies
// are closed, so that what is not listed here is refused (TestStatuses); a new
// member has to be weighed here first.
func TestNoVerbTakesASetting(t *testing.T) {
	var doc struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal(description.JSON(), &doc); err != nil {
		t.Fatal(err)
	}
	taken := map[string]bool{}
	bodies := 0
	for path, methods := range doc.Paths {
		for method, raw := range methods {
			var op struct {
				Body *struct {
					Content map[string]struct{ Schema json.RawMessage } `json:"content"`
				} `json:"requestBody"`
			}
			if method == "parameters" || json.Unmarshal(raw, &op) != nil || op.Body == nil {
				continue
			}
			bodies++
			for kind, c := range op.Body.Content {
				var shape struct {
					Properties map[string]json.RawMessage `json:"properties"`
					Additional *bool                      `json:"additionalProperties"`
				}
				if err := json.Unmarshal(c.Schema, &shape); err != nil || shape.Properties == nil {
					t.Errorf("%s %s: a body whose members cannot be listed: %v", method, path, err)
				}
				if kind == "application/json" && (shape.Additional == nil || *shape.Additional) {
					t.Errorf("%s %s takes members that are not described", method, path)
				}
				for name := range shape.Properties {
					taken[name] = true
				}
			}
		}
	}
	known := []string{"action", "answer", "attended", "cautions", "choice", "code", "csv", "for", "gauge_mm", "heat", "in_force", "paper", "person", "points", "prompt", "quick", "readings", "reference", "role", "steps", "token", "value", "worksheet"}
	if got := slices.Sorted(maps.Keys(taken)); !slices.Equal(got, known) || bodies < 8 {
		t.Errorf("%d bodies take %q, known are %q: is the new one a setting, a command, a file?", bodies, got, known)
	}
	for _, f := range config.Fields() {
		leaf := f.Key[strings.LastIndexByte(f.Key, '.')+1:]
		// A run may be asked to heat as well: within heat.nozzle_max and heat.bed_max,
		// and a person confirms it.
		if taken[leaf] && f.Key != "check.heat" {
			t.Errorf("a body takes %q, as the setting %s", leaf, f.Key)
		}
	}
	for path := range doc.Paths {
		for _, word := range []string{"setting", "config", "template", "pattern", "command", "gcode", "exec", "file", "upload"} {
			if strings.Contains(path, word) {
				t.Errorf("path %s", path)
			}
		}
	}
}
