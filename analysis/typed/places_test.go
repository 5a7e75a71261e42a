package typed_test

import (
	"slices"
	"strings"
	"testing"

	"abbed/analysis/typed"
)

// TestPlaces: what is read, and what is refused whole with its cause.
func TestPlaces(t *testing.T) {
	for text, want := range map[string][][2]float64{
		"":                           nil,
		"30,30":                      {{30, 30}},
		" 30,30\t205,30\n117.5,-20 ": {{30, 30}, {205, 30}, {117.5, -20}},
	} {
		if got, err := typed.Places(text); err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for text, says := range map[string]string{
		"30":                       `"30" is no place x,y in mm`,
		"30,30 a,b":                `"a,b" is no place`,
		"30,5,30,5":                `"30,5,30,5" is no place`,
		"2001,1":                   "is no place",
		"1,NaN":                    "is no place",
		strings.Repeat("1,1 ", 51): "more than 50 places",
	} {
		if got, err := typed.Places(text); err == nil || got != nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}
