package printfile

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// TestScan: numbers as people and programs write them, against strconv.
func TestScan(t *testing.T) {
	near := func(t interface{ Fatalf(string, ...any) }, text string) {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		a, end, ok := scan([]byte(text+" X"), 0)
		if !ok || end != len(text) || math.Abs(a.value()-want) > 1e-14*math.Abs(want)+1e-15 {
			t.Fatalf("%s: %v to %d, %t", text, a.value(), end, ok)
		}
	}
	for _, s := range []string{"0", "-0", "+5", "5.", ".5", "-.25", "0.12345678901234567", "123456789012345", "3.3000000000000003", "0.0000000000000000001", "000000000000000000005", "1.0000000000000000000"} {
		near(t, s)
	}
	for _, s := range []string{"", "-", ".", "+.", "1234567890123456", "1000000000000000.5"} {
		if a, _, ok := scan([]byte(s), 0); ok {
			t.Errorf("%q was read as %v", s, a.value())
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
		near(t, strconv.FormatFloat(v, 'f', rapid.IntRange(-1, 20).Draw(t, "decimals"), 64))
	})
}
