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
// them; a line for each reading. An error names the line.
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
	col := map[string]int{}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		if alias, ok := map[string]string{"x": "u", "y": "v", "mm": "thickness"}[name]; ok {
			name = alias
		}
		col[name] = i
	}
	return rows(c, col)
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
func rows(c *csv.Reader, col map[string]int) ([]Reading, error) {
	has := func(name string) bool { _, ok := col[name]; return ok }
	if !has("thickness") || !has("patch") && !(has("u") && has("v")) {
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
		r, err := one(row, col)
		if err != nil {
			return nil, fmt.Errorf("read thickness: line %d: %w", line, err)
		}
		if out = append(out, r); len(out) > most {
			return nil, fmt.Errorf("read thickness: line %d: more than %d readings: is it the right file?", line, most)
		}
	}
}

func one(row []string, col map[string]int) (r Reading, err error) {
	number := func(name string) float64 {
		i, ok := col[name]
		if !ok {
			return 0
		}
		if i >= len(row) {
			err = errors.Join(err, fmt.Errorf("no %s", name))
			return 0
		}
		text := strings.TrimSpace(row[i])
		v, e := strconv.ParseFloat(text, 64)
		if e != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			err = errors.Join(err, fmt.Errorf("%s %q is no number: write it with a point, and leave out the lines of patches without a reading", name, text))
		}
		return v
	}
	p := number("patch")
	r = Reading{Patch: int(p), U: number("u"), V: number("v"), MM: number("thickness")}
	if err == nil && (p != math.Trunc(p) || p < 0 || p > 1e6) {
		err = fmt.Errorf("patch %g is no number of a patch", p)
	}
	if err == nil {
		err = Check(r)
	}
	return r, err
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
