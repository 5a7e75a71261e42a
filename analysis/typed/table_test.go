package typed_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"abbed/analysis/typed"
)

// TestRead: the same table however it was typed or saved.
func TestRead(t *testing.T) {
	for name, text := range map[string]string{
		"commas":                  "X,Value\n1.5,-0.2\n\n20,0.25\n",
		"semicolons":              "X;Value\n1.5;-0.2\n\n20;0.25\n",
		"tabs":                    "X\tValue\n1.5\t-0.2\n\n20\t0.25\n",
		"decimal commas":          "X;Value\n1,5;-0,2\n\n20;0,25\n",
		"decimal commas and tabs": "X\tValue\n1,5\t-0,2\n\n20\t0,25\n",
		"from a spreadsheet":      "\ufeffX;Value\r\n1,5;-0,2\r\n\r\n20;0,25\r\n",
		"blanks":                  " x , VALUE \n 1.5 , -0.2 \n\n 20,0.25",
		"quoted":                  "\"x\",\"value\"\n\"1.5\",\"-0.2\"\n\n20,0.25\n",
	} {
		got, err := typed.Read(strings.NewReader(text), typed.Typed)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !slices.Equal(got.Columns, []string{"x", "value"}) || len(got.Lines) != 2 {
			t.Errorf("%s: %q, %d lines", name, got.Columns, len(got.Lines))
			continue
		}
		for i, want := range [][3]float64{{2, 1.5, -0.2}, {4, 20, 0.25}} {
			l := got.Lines[i]
			x, errX := l.Number(0)
			v, errV := l.Number(1)
			if (errX != nil || errV != nil) || [3]float64{float64(l.At), x, v} != want {
				t.Errorf("%s: line %d: %g, %g (%v, %v), want %v", name, l.At, x, v, errX, errV, want)
			}
		}
	}
}

// TestComments stand in no table, and no separator is found in them.
func TestComments(t *testing.T) {
	got, err := typed.Read(strings.NewReader("# by hand; in mm\nx,y\n# 7,8\n1,2,3\n4\n"), typed.Typed)
	if err != nil || len(got.Lines) != 2 || !slices.Equal(got.Columns, []string{"x", "y"}) {
		t.Fatalf("%+v, %v", got, err)
	}
	long, short := got.Lines[0], got.Lines[1]
	if long.At != 4 || len(long.Cells) != 3 || long.Cell(2) != "3" || short.Cell(1) != "" {
		t.Errorf("%+v and %+v", long, short)
	}
}

// TestNoNumber: what is none is refused with its column and the remedy; nothing is
// read as another number than the one that stands there.
func TestNoNumber(t *testing.T) {
	for text, says := range map[string]string{
		"fifty":    `y is "fifty", not a number; correct it, or take the line out`,
		"NaN":      `y is "NaN", not a number`,
		"-inf":     `y is "-inf", not a number`,
		"1e999":    `y is "1e999", not a number`,
		"":         "there is no y; write it, or take the line out",
		"1.234,5":  `y is "1.234,5", not a number`,
		"1,234,5":  `y is "1,234,5", not a number`,
		"0,2 mm":   `y is "0,2 mm", not a number`,
		"\"0,2\"x": `parse error`,
	} {
		got, err := typed.Read(strings.NewReader("x;y\n1;"+text+"\n"), typed.Typed)
		if err == nil {
			_, err = got.Lines[0].Number(1)
		}
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
	got, err := typed.Read(strings.NewReader("x,y\n1,\"0,2\"\n1\n"), typed.Typed)
	if err != nil {
		t.Fatal(err)
	}
	for i, says := range []string{`y is "0,2", not a number`, "there is no y"} {
		if v, err := got.Lines[i].Number(1); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("where commas separate, line %d: %g, %v, want %q", i, v, err, says)
		}
	}
}

// TestRefused: nothing at all, a quote left open, and a file that no one typed.
func TestRefused(t *testing.T) {
	for _, text := range []string{"", "\n\n", "# nothing\n\n", "\ufeff"} {
		if _, err := typed.Read(strings.NewReader(text), typed.Typed); !errors.Is(err, typed.ErrEmpty) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := typed.Read(strings.NewReader("x,y\n1,2\n1,\"2\n"), typed.Typed); err == nil || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("an open quote: %v", err)
	}
	if _, err := typed.Read(strings.NewReader("x,y\n"+strings.Repeat("1,2\n", 1<<18)), typed.Typed); err == nil || !strings.Contains(err.Error(), "right file") {
		t.Errorf("a megabyte: %v", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add("x;y\n1,5;2\n")
	f.Add("# c\n\"x\"\ty\n1\t\n")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := typed.Read(strings.NewReader(text), typed.Typed)
		if err != nil {
			return
		}
		at := 1
		for _, l := range got.Lines {
			if l.At <= at {
				t.Fatalf("line %d after line %d", l.At, at)
			}
			at = l.At
			for i := range got.Columns {
				_, _ = l.Number(i)
			}
		}
	})
}
