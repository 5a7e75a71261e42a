package proof

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Reading is one value of the micrometer. Patch is its number on the worksheet,
// or 0 where U and V say the place.
type Reading struct {
	Patch int
	U, V  float64
	MM    float64
}

// Least and Most bound what can be the thickness of a single layer, mm.
const (
	Least = 0.02
	Most  = 2.0
)

// most readings of one print.
const most = 2000

// ReadCSV reads `patch,thickness` or `u,v,thickness` (x and y count as u and v)
// with a header, in any order of columns, commas, semicolons or tabs between
// them (with the latter two a number may have a comma for its point); a line for
// each reading, or several columns whose names begin with thickness, as on the
// worksheet, of which some may be empty. An error names the line.
func ReadCSV(r io.Reader) ([]Reading, error) {
	b, err := io.ReadAll(io.LimitReader(r, 1<<20))
	if err != nil {
		return nil, fmt.Errorf("read thickness: %w", err)
	}
	text := strings.TrimPrefix(string(b), "\ufeff")
	c := csv.NewReader(strings.NewReader(text))
	c.Comment, c.TrimLeadingSpace, c.FieldsPerRecord = '#', true, -1
	first := header(text)
	for _, comma := range ";\t" {
		if strings.ContainsRune(first, comma) {
			c.Comma = comma
		}
	}
	head, err := c.Read()
	if err != nil {
		return nil, errors.New("read thickness: the file is empty: give a header patch,thickness and a line for each reading")
	}
	t := sheet{place: map[string]int{}, comma: c.Comma != ','}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		switch {
		case name == "mm" || strings.HasPrefix(name, "thickness"):
			t.thickness = append(t.thickness, i)
		case name == "x" || name == "y":
			t.place[map[string]string{"x": "u", "y": "v"}[name]] = i
		default:
			t.place[name] = i
		}
	}
	return t.rows(c)
}

// sheet says which column holds what.
type sheet struct {
	place     map[string]int // patch, u, v
	thickness []int
	comma     bool // a number may have a comma for its point
}

// header is the first line that is no comment.
func header(text string) string {
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			return line
		}
	}
	return ""
}

// rows reads what stands under the header.
func (t sheet) rows(c *csv.Reader) ([]Reading, error) {
	has := func(name string) bool { _, ok := t.place[name]; return ok }
	if len(t.thickness) == 0 || !has("patch") && !(has("u") && has("v")) {
		return nil, errors.New("read thickness: line 1: the header has to name thickness, and patch or u and v")
	}
	var out []Reading
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("read thickness: %w", err)
		}
		line, _ := c.FieldPos(0)
		of, err := t.patch(row)
		if err != nil {
			return nil, fmt.Errorf("read thickness: line %d: %w", line, err)
		}
		if out = append(out, of...); len(out) > most {
			return nil, fmt.Errorf("read thickness: line %d: more than %d readings: is it the right file?", line, most)
		}
	}
}

// patch reads one line: the readings of one patch.
func (t sheet) patch(row []string) ([]Reading, error) {
	var at Reading
	var p float64
	for _, q := range []struct {
		name string
		into *float64
	}{{"patch", &p}, {"u", &at.U}, {"v", &at.V}} {
		i, ok := t.place[q.name]
		if !ok {
			continue
		}
		v, err := t.number(row, i, q.name)
		if err != nil {
			return nil, err
		}
		*q.into = v
	}
	if p != math.Trunc(p) || p < 0 || p > 1e6 {
		return nil, fmt.Errorf("patch %g is no number of a patch", p)
	}
	at.Patch = int(p)
	var out []Reading
	for k, i := range t.thickness {
		if empty := i >= len(row) || strings.TrimSpace(row[i]) == ""; empty && (len(out) > 0 || k < len(t.thickness)-1) {
			continue
		}
		v, err := t.number(row, i, "thickness")
		if err != nil {
			return nil, err
		}
		at.MM = v
		if err := Check(at); err != nil {
			return nil, err
		}
		out = append(out, at)
	}
	return out, nil
}

func (t sheet) number(row []string, i int, name string) (float64, error) {
	if i >= len(row) {
		return 0, fmt.Errorf("no %s", name)
	}
	text := strings.TrimSpace(row[i])
	if t.comma {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s %q is no number: write it with a point, and leave out the lines of patches without a reading", name, row[i])
	}
	return v, nil
}

// Check refuses what cannot be the thickness of a single layer.
func Check(r Reading) error {
	if !(r.MM >= Least && r.MM <= Most) {
		return fmt.Errorf("a thickness of %g mm cannot be right: %g to %g mm is taken; is it in mm?", r.MM, Least, Most)
	}
	return nil
}

// Patch is what was read of one patch.
type Patch struct {
	U, V  float64
	N     int     // readings
	MM    float64 // their mean
	Doubt float64 // standard uncertainty of MM as a reading of the gap, mm
}

// Doubts before there are repeats (common practice, no source): a patch's own
// roughness and the stored map between its nodes; one reading of a micrometer by
// hand.
const (
	PatchU   = 0.012
	ReadingU = 0.005
)

// Patches takes the mean of the readings of each place, in the order of their
// first readings. scatter is the standard deviation between readings of one
// patch with its degrees of freedom, ReadingU and 0 where there are no repeats.
func Patches(readings []Reading) (out []Patch, scatter, dof float64) {
	groups := map[[2]float64][]float64{}
	var order [][2]float64
	for _, r := range readings {
		k := [2]float64{math.Round(100*r.U) / 100, math.Round(100*r.V) / 100}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], r.MM)
	}
	sum := 0.0
	for _, k := range order {
		g := groups[k]
		mean := 0.0
		for _, v := range g {
			mean += v / float64(len(g))
		}
		for _, v := range g {
			sum += (v - mean) * (v - mean)
		}
		dof += float64(len(g) - 1)
		out = append(out, Patch{U: k[0], V: k[1], N: len(g), MM: mean})
	}
	scatter = ReadingU
	if dof > 0 {
		// Few repeats may agree by chance: never below half of what is expected.
		scatter = max(math.Sqrt(sum/dof), ReadingU/2)
	}
	for i := range out {
		out[i].Doubt = math.Hypot(PatchU, scatter/math.Sqrt(float64(out[i].N)))
	}
	return slices.Clip(out), scatter, dof
}
