package process

import (
	"slices"
	"testing"
)

// TestFiled: only what stands in the file as it is may be given back. The text
// below has the form of proc(5), smaps.
func TestFiled(t *testing.T) {
	const smaps = `00400000-0102d000 r-xp 00000000 fe:00 10405253                           /opt/it
Size:              12468 kB
Anonymous:             0 kB
0102d000-01b6a000 r--p 00c2d000 fe:00 10405253                           /opt/it
Anonymous:             4 kB
01b6a000-01bfc000 rw-p 0176a000 fe:00 10405253                           /opt/it
Anonymous:             0 kB
01c00000-01c01000 r--p 00000000 fe:00 10405253                           /opt/it
Anonymous:             0 kB
7f0000000000-7f0000001000 r-xp 00000000 fe:00 7                          /lib/other
Anonymous:             0 kB
`
	got := filed(smaps, "/opt/it")
	want := []span{{0x400000, 0x102d000}, {0x1c00000, 0x1c01000}}
	if !slices.Equal(got, want) {
		t.Errorf("%x", got)
	}
}

func TestSpanOf(t *testing.T) {
	if a, b, ok := spanOf("00400000-00452000"); a != 0x400000 || b != 0x452000 || !ok {
		t.Error(a, b, ok)
	}
	for _, bad := range []string{"", "-", "5-5", "452000-400000", "x-y", "400000"} {
		if _, _, ok := spanOf(bad); ok {
			t.Errorf("%q was taken", bad)
		}
	}
}
