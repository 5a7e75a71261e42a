package api_test

import (
	"slices"
	"strings"
	"testing"

	"abbed/daemon/api"
)

func TestReadPlaces(t *testing.T) {
	for text, want := range map[string][]api.XY{
		"":                           nil,
		"  ":                         nil,
		"30,30":                      {{X: 30, Y: 30}},
		" 30,30\t205,30\n117.5,-20 ": {{X: 30, Y: 30}, {X: 205, Y: 30}, {X: 117.5, Y: -20}},
	} {
		got, bad := api.ReadPlaces(text)
		if bad != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v", text, got, bad)
		}
	}
	for text, says := range map[string]string{
		"30":                             `"30" is no place x,y in mm`,
		"30, 30":                         `"30," is no place`,
		"30,30 a,b":                      `"a,b" is no place`,
		"30,5,30,5":                      `"30,5,30,5" is no place`,
		"2001,1":                         "is no place",
		"1,NaN":                          "is no place",
		"-Inf,1":                         "is no place",
		strings.Repeat("1,1 ", 51):       "more than 50 places",
		"1,1 " + strings.Repeat("x", 99): "is no place",
	} {
		got, bad := api.ReadPlaces(text)
		if bad == nil || got != nil || bad.Status != 422 || bad.Code != "bad-value" || !strings.Contains(bad.Text, says) || bad.Hint == "" {
			t.Errorf("%q: %v, %v", text, got, bad)
		}
	}
}

func TestCorrected(t *testing.T) {
	for inForce, want := range map[string][2]bool{
		"none": {false, true}, "map": {true, true}, "file": {true, true}, "": {}, "None": {}, "yes": {},
	} {
		if corrected, ok := api.Corrected(inForce); [2]bool{corrected, ok} != want {
			t.Errorf("%q: %t, %t", inForce, corrected, ok)
		}
	}
}
