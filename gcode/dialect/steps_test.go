package dialect_test

import (
	"testing"

	"abbed/gcode/dialect"
)

func TestReadSteps(t *testing.T) {
	d, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	for line, want := range map[string]int64{
		"X:100.00 Y:90.00 Z:0.12 E:0.00 Count X:8000 Y:7200 Z:49": 49,
		"X:1.00 Y:2.00 Z:-0.01 E:0.00 Count X: 80 Y: 160 Z: -4":   -4,
		"X:1 Y:2 Z:250.00 E:0 Count A:80 B:160 Z:100000":          100000,
		"X:1.00Y:2.00Z:0.10E:0.00 Count X:80Y:160Z:40":            40,
	} {
		if z, ok := d.ReadSteps(reply(line)); !ok || z != want {
			t.Errorf("%q: %d %v, want %d", line, z, ok, want)
		}
	}
	for _, line := range []string{
		"X:1.00 Y:2.00 Z:0.10 E:0.00", "X:1.00 Y:2.00 Z:0.10 E:0.00 Count X:1.00 Y:2.00 Z:0.10",
		"count the zebras: 3", "Count X:80 Y:160", "", "Z:5 Count X:1 Y:2 Z:12345678901",
	} {
		if z, ok := d.ReadSteps(reply(line)); ok {
			t.Errorf("%q: %d steps", line, z)
		}
	}
}
