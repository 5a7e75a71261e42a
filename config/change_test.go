package config_test

import (
	"slices"
	"testing"

	"abbed/config"
)

func settingsOf(t *testing.T, file string) config.Settings {
	t.Helper()
	s, err := config.Load(config.Options{File: "left.yaml", Environ: []string{"HOME=/home/x"},
		Read: func(string) ([]byte, error) { return []byte(file), nil }})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestChanged(t *testing.T) {
	a := settingsOf(t, "port: /dev/x\nretention: {days: 7}\nbed: [0, 0, 220, 220]\nwords: {templates: {map: M420 V1}}\n")
	for _, c := range []struct {
		name, file string
		want       []string
	}{
		{"the same", "port: /dev/x\nretention: {days: 7}\nbed: [0, 0, 220, 220]\nwords: {templates: {map: M420 V1}}\n", nil},
		{"a value, and one that nobody sets any more", "port: /dev/y\nbed: [0, 0, 220, 221]\nwords: {templates: {map: M420 V1}}\n", []string{"port", "bed", "retention.days"}},
		{"a text by its name", "port: /dev/x\nretention: {days: 7}\nbed: [0, 0, 220, 220]\nwords: {templates: {map: M420}}\n", []string{"words.templates"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := settingsOf(t, c.file)
			if got := config.Changed(a, b); !slices.Equal(got, c.want) {
				t.Errorf("Changed = %v, want %v", got, c.want)
			}
			taken := config.Take(a, b, c.want)
			if left := config.Changed(taken, b); len(left) > 0 {
				t.Errorf("after Take of all, %v still differ", left)
			}
		})
	}
}

// TestTakeLeavesTheRest: what is not named stays, and the settings that were
// taken from are not touched.
func TestTakeLeavesTheRest(t *testing.T) {
	a, b := settingsOf(t, "port: /dev/x\n"), settingsOf(t, "port: /dev/y\nlayer: 0.3\nidle_off: 2m\n")
	got := config.Take(a, b, []string{"layer", "idle_off"})
	if got.Port != "/dev/x" || got.Layer != 0.3 || got.Given["idle_off"] == "" || a.Given["idle_off"] != "" {
		t.Errorf("Take: port %s, layer %g, given %v; taken from %v", got.Port, got.Layer, got.Given, a.Given)
	}
}
