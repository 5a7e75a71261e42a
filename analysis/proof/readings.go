package proof

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"abbed/analysis/fit"
	"abbed/analysis/typed"
	"abbed/probe/record"
)

// Reading is one value of the micrometer. Patch is its number on the worksheet,
// or 0 where U and V say the place.
type Reading struct {
	Patch int
	U, V  float64
	MM    float64
	// Gaps says that the lines of the patch lie apart or are round on top: the nozzle
	// was too high there to press them flat. There is no MM then.
	Gaps bool
}

// most readings of one print.
const most = 2000

// ReadCSV reads `patch,thickness` or `u,v,thickness` (x and y count as u and v)
// with a header, in any order of columns, typed as the package typed says; a line
// for each reading, or several columns whose names begin with thickness, as on the
// worksheet, of which some may be empty. A line without any number is a patch that was
// not read; one with "gaps" or "round" in any cell has gaps. An error names the line.
func ReadCSV(r io.Reader) ([]Reading, error) {
	t, err := typed.Read(r, typed.Typed)
	switch {
	case errors.Is(err, typed.ErrEmpty):
		return nil, fmt.Errorf("read thickness: %w: give a header patch,thickness and a line for each reading", err)
	case err != nil:
		return nil, fmt.Errorf("read thickness: %w", err)
	}
	s, err := sheetOf(t.Columns)
	if err != nil {
		return nil, fmt.Errorf("read thickness: line 1: %w", err)
	}
	var out []Reading
	for _, l := range t.Lines {
		of, err := s.patch(l)
		if err == nil && len(out)+len(of) > most {
			err = fmt.Errorf("more than %d readings: is it the right file?", most)
		}
		if err != nil {
			return nil, fmt.Errorf("read thickness: line %d: %w", l.At, err)
		}
		out = append(out, of...)
	}
	return out, nil
}

// sheet says which column holds what.
type sheet struct {
	place     map[string]int // patch, u, v
	thickness []int
}

func sheetOf(columns []string) (sheet, error) {
	s := sheet{place: map[string]int{}}
	for i, name := range columns {
		switch {
		case name == "mm" || strings.HasPrefix(name, "thickness"):
			s.thickness = append(s.thickness, i)
		case name == "x" || name == "y":
			s.place[map[string]string{"x": "u", "y": "v"}[name]] = i
		default:
			s.place[name] = i
		}
	}
	has := func(name string) bool { _, ok := s.place[name]; return ok }
	if len(s.thickness) == 0 || !has("patch") && !(has("u") && has("v")) {
		return s, errors.New("the header has to name thickness, and patch or u and v")
	}
	return s, nil
}

// patch reads one line: the readings of one patch.
func (s sheet) patch(l typed.Line) ([]Reading, error) {
	var at Reading
	var p float64
	for _, q := range []struct {
		name string
		into *float64
	}{{"patch", &p}, {"u", &at.U}, {"v", &at.V}} {
		i, ok := s.place[q.name]
		if !ok {
			continue
		}
		v, err := l.Number(i)
		if err != nil {
			return nil, err
		}
		*q.into = v
	}
	if p != math.Trunc(p) || p < 0 || p > 1e6 {
		return nil, fmt.Errorf("patch %g is no number of a patch", p)
	}
	at.Patch = int(p)
	for i := range l.Cells {
		if text := strings.ToLower(l.Cell(i)); strings.Contains(text, "gap") || strings.Contains(text, "round") {
			at.Gaps = true
			return []Reading{at}, nil
		}
	}
	var out []Reading
	for _, i := range s.thickness {
		if l.Cell(i) == "" {
			continue
		}
		v, err := l.Number(i)
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

// Check refuses what cannot be the thickness of a single layer.
func Check(r Reading) error {
	if r.Gaps {
		return nil
	}
	if !(r.MM >= record.LayerLeast && r.MM <= record.LayerMost) {
		return fmt.Errorf("a thickness of %g mm cannot be right: %g to %g mm is taken; is it in mm?", r.MM, record.LayerLeast, record.LayerMost)
	}
	return nil
}

// Patch is what was read of one patch.
type Patch struct {
	U, V    float64
	N       int     // readings; 0: it has gaps
	MM      float64 // their mean
	Apart   float64 // largest less smallest, mm
	Reading float64 // standard uncertainty of MM as the thickness, mm
	Doubt   float64 // and as a reading of the gap, mm
}

// ReadingU is the standard uncertainty of one reading of a micrometer by hand, mm,
// before there are repeats (common practice, no source).
const ReadingU = 0.005

// slip is by how much two readings of one patch differ when one is a slip, mm (six
// times what a micrometer by hand scatters); unlike by how much two patches beside each
// other do (three times what rough plastic scatters).
const (
	slip   = 0.03
	unlike = 0.085
)

// Patches takes the mean of the readings of each place, in the order of their
// first readings; one that has gaps comes without any. Of three readings one that is a
// slip against the two others does not count. scatter is the standard deviation between
// readings of one patch with its degrees of freedom, ReadingU and 0 where there are no
// repeats.
func Patches(readings []Reading) (out []Patch, scatter, dof float64) {
	groups, gaps := map[[2]float64][]float64{}, map[[2]float64]bool{}
	var order [][2]float64
	for _, r := range readings {
		k := [2]float64{math.Round(100*r.U) / 100, math.Round(100*r.V) / 100}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k], gaps[k] = append(groups[k], r.MM), gaps[k] || r.Gaps
	}
	sum := 0.0
	for _, k := range order {
		g := groups[k]
		if gaps[k] {
			out = append(out, Patch{U: k[0], V: k[1]})
			continue
		}
		if len(g) > 2 {
			m := fit.Median(g)
			g = slices.DeleteFunc(slices.Clone(g), func(v float64) bool { return math.Abs(v-m) > slip })
		}
		mean := 0.0
		for _, v := range g {
			mean += v / float64(len(g))
		}
		for _, v := range g {
			sum += (v - mean) * (v - mean)
		}
		dof += float64(len(g) - 1)
		out = append(out, Patch{U: k[0], V: k[1], N: len(g), MM: mean, Apart: slices.Max(g) - slices.Min(g)})
	}
	scatter = ReadingU
	if dof > 0 {
		// Few repeats may agree by chance: never below half of what is expected.
		scatter = max(math.Sqrt(sum/dof), ReadingU/2)
	}
	for i := range out {
		out[i].Reading = scatter / math.Sqrt(math.Max(1, float64(out[i].N)))
		out[i].Doubt = math.Hypot(record.PatchU, out[i].Reading)
	}
	return slices.Clip(out), scatter, dof
}
