package gcode

import "testing"

// The checks were worked out by hand with xor, character by character.
func TestFrame(t *testing.T) {
	for _, c := range []struct {
		number int
		text   string
		want   string
	}{
		{0, "M110 N0", "N0 M110 N0*125\n"},
		{3, "T0", "N3 T0*57\n"},
		{None, "M115", "M115\n"},
	} {
		if got := string(appendFrame(nil, c.number, c.text)); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	good := appendFrame(nil, 7, "M115")
	bad := spoil(appendFrame(nil, 7, "M115"), damage)
	if string(good) == string(bad) || string(bad[:8]) != string(good[:8]) {
		t.Errorf("%q %q", good, bad)
	}
}

func BenchmarkFrame(b *testing.B) {
	buf := make([]byte, 0, 256)
	b.ReportAllocs()
	for b.Loop() {
		buf = appendFrame(buf[:0], 4218, "G1 X104.5 Y88.25 F6000")
	}
}
