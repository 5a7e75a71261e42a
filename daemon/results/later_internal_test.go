package results

import (
	"slices"
	"testing"
)

// TestMadeFor: which runs were made for an earlier one, while runs come and are
// dropped by their age.
func TestMadeFor(t *testing.T) {
	d := &Shelf{}
	for _, r := range [][2]string{{"a", ""}, {"b", "a"}, {"c", ""}, {"d", "a"}, {"e", "c"}} {
		d.NoteFor(r[0], r[1])
	}
	was := d.MadeFor("a")
	d.Drop("b")
	for _, c := range []struct{ got, want []string }{
		{was, []string{"b", "d"}}, {d.MadeFor("a"), []string{"d"}}, {d.MadeFor("b"), nil}, {d.MadeFor("c"), []string{"e"}}, {d.MadeFor("gone"), nil},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
}
