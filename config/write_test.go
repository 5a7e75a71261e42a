package config_test

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"abbed/config"
)

// TestWriteSettings: what is written is read back as it was set, and nothing
// else is set; a doubtful line is none.
func TestWriteSettings(t *testing.T) {
	lines := map[string]config.Line{
		"port":                    {YAML: `"/dev/abbed/left"`, Why: "it stays the same"},
		"bed":                     {YAML: "[0, 0, 220, 220.5]"},
		"retention.days":          {YAML: "9"},
		"idle_off":                {YAML: "2m"},
		"trigger":                 {YAML: "1.2", Why: "an example", Doubt: true},
		"words.templates.map":     {YAML: "'M420 V1'", Why: "it answers to it"},
		"words.patterns.lever":    {YAML: `'(?P<x>\d+) ''a''"'`},
		"words.patterns.position": {YAML: "'x'", Doubt: true},
	}
	var b bytes.Buffer
	if err := config.WriteSettings(&b, "Settings of a printer.", lines); err != nil {
		t.Fatal(err)
	}
	got := settingsOf(t, b.String())
	if got.Port != "/dev/abbed/left" || *got.Bed != (config.Rect{X1: 220, Y1: 220.5}) || got.Retention.Days != 9 || got.Trigger != nil ||
		got.Words.Templates["map"] != "M420 V1" || got.Words.Patterns["lever"] != `(?P<x>\d+) 'a'"` || len(got.Words.Patterns) != 1 {
		t.Errorf("read back: %+v\nfrom\n%s", got, &b)
	}
	for key, l := range lines {
		if _, given := got.Given[key]; given == l.Doubt {
			t.Errorf("%s: given %v", key, given)
		}
	}
	if want := len(lines) - 2; len(got.Given) != want {
		t.Errorf("%d settings are given, want %d: %v", len(got.Given), want, got.Given)
	}
	for _, f := range config.Fields() {
		_, want := lines[f.Key]
		want = want || !f.More || strings.HasPrefix(f.Key, "words.")
		if strings.Contains(b.String(), "# "+f.Says[:28]) != want {
			t.Errorf("%s: in the file: %v", f.Key, !want)
		}
	}
}

// TestWriteNothing: with nothing set, the file is the defaults.
func TestWriteNothing(t *testing.T) {
	var b bytes.Buffer
	if err := config.WriteSettings(&b, "Nothing.", nil); err != nil {
		t.Fatal(err)
	}
	got := settingsOf(t, b.String())
	want := config.Default()
	want.State, want.Given = got.State, got.Given
	if len(got.Given) > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("given %v, %+v", got.Given, got)
	}
}

func TestYAML(t *testing.T) {
	for _, c := range []struct{ key, text, want, fault string }{
		{"bed", "0, 0,220.0,220", "[0, 0, 220, 220]", ""},
		{"zero_at", "110,-5", "[110, -5]", ""},
		{"trigger", "1.20", "1.2", ""},
		{"layout", "moving-gantry", `"moving-gantry"`, ""},
		{"silence", "90s", "1m30s", ""},
		{"bed", "0,0,220", "", "4"},
		{"trigger", "21", "", "0..20 mm"},
		{"layout", "delta", "", "moving-bed"},
		{"bad", "1", "", "is not a setting"},
	} {
		got, err := config.YAML(c.key, c.text)
		if c.fault == "" && (err != nil || got != c.want) || c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)) {
			t.Errorf("YAML(%s, %q) = %s, %v; want %s %s", c.key, c.text, got, err, c.want, c.fault)
		}
	}
}

// TestTexts: what was given goes into a file and comes back.
func TestTexts(t *testing.T) {
	want := settingsOf(t, "port: /dev/x\nbed: [0, -1.5, 220, 220]\nzero_at: 1,2\nsilence: 90s\nwords: {patterns: {lever: '(?P<x>\\d)\\s\"'}}\naccess: {from: machine}\n")
	lines := map[string]config.Line{}
	for key, text := range config.Texts(want) {
		lines[key] = config.Line{YAML: text}
	}
	if len(lines) != len(want.Given) {
		t.Errorf("texts %v of %v", lines, want.Given)
	}
	var b bytes.Buffer
	if err := config.WriteSettings(&b, "Again.", lines); err != nil {
		t.Fatal(err)
	}
	if left := config.Changed(settingsOf(t, b.String()), want); len(left) > 0 {
		t.Errorf("%v differ after a way through the file", left)
	}
}
