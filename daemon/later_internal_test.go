package daemon

import (
	"slices"
	"testing"
)

// TestMadeFor: which runs were made for an earlier one, while runs come and are
// dropped by their age.
func TestMadeFor(t *testing.T) {
	d := &Daemon{}
	for _, r := range [][2]string{{"a", ""}, {"b", "a"}, {"c", ""}, {"d", "a"}, {"e", "c"}} {
		d.noteFor(r[0], r[1])
	}
	was := d.madeFor("a")
	d.mu.Lock()
	d.forgetLater("b")
	d.mu.Unlock()
	for _, c := range []struct{ got, want []string }{
		{was, []string{"b", "d"}}, {d.madeFor("a"), []string{"d"}}, {d.madeFor("b"), nil}, {d.madeFor("c"), []string{"e"}}, {d.madeFor("gone"), nil},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
}
