package correction

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"abbed/gcode"
	"abbed/gcode/dialect"
)

// printsFor answers each question with the next of its prints.
type printsFor struct {
	prints []string
	asked  int
}

func (p *printsFor) Ask(context.Context, gcode.Query) (gcode.Reply, error) {
	if p.asked == len(p.prints) {
		return gcode.Reply{}, errors.New("silent")
	}
	r := gcode.Reply{OK: gcode.ParseLine([]byte("ok"))}
	for l := range strings.SplitSeq(p.prints[p.asked], "\n") {
		r.Lines = append(r.Lines, gcode.ParseLine([]byte(l)))
	}
	p.asked++
	return r, nil
}

// A line that was damaged on its way is asked for again; one that changes by
// itself is no setting; a setting that differs is one.
func TestSettledSettings(t *testing.T) {
	words, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	const plain = "M92 X80.00\nM206 X0.00"
	for name, c := range map[string]struct {
		prints   []string
		asked    int
		has      string
		restless []string
	}{
		"alike":           {[]string{plain, plain, "never asked"}, 2, "M92 X80.00", nil},
		"damaged once":    {[]string{"M92 X80.00\nM2\x1b6 X0.00", plain, plain}, 3, "M206 X0.00", nil},
		"a counter in it": {[]string{plain + "\nuptime 1 s", plain + "\nuptime 2 s", plain + "\nuptime 3 s", plain + "\nuptime 14 s"}, 4, "M92 X80.00", []string{"uptime  s"}},
		"nothing":         {[]string{"", ""}, 2, "", nil},
	} {
		p := &printsFor{prints: c.prints}
		text, restless, err := settledSettings(t.Context(), p, words)
		if err != nil || p.asked != c.asked || !strings.Contains(text, c.has) || len(restless) != len(c.restless) {
			t.Errorf("%s: asked %d times: %q, restless %v, %v", name, p.asked, text, restless, err)
		}
		for _, s := range c.restless {
			if !restless[shape(s)] {
				t.Errorf("%s: %q is not among %v", name, s, restless)
			}
		}
	}
	if _, _, err := settledSettings(t.Context(), &printsFor{prints: []string{plain}}, words); err == nil {
		t.Error("a printer that falls silent gives no error")
	}
}

func TestChangedLines(t *testing.T) {
	for _, c := range []struct {
		was, is string
		want    []string
	}{
		{"a\nb\n", "a\nb\n", []string{}},
		{"a  1\nb\n", " a 1 \n\nb", []string{}},
		{"a 1\nb\n", "b\na 2\n", []string{"- a 1", "+ a 2"}},
		{"", "a\n", []string{"+ a"}},
	} {
		if got := changedLines(c.was, c.is); !slices.Equal(got, c.want) {
			t.Errorf("%q, %q: %s", c.was, c.is, fmt.Sprint(got))
		}
	}
}
