package analysis

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"abbed/probe/record"
)

// ErrCSV is wrapped by every error of ReadCSV that the file is to blame for.
var ErrCSV = errors.New("not a table of touches")

// ReadCSV reads touches from `x,y,z[,t][,side][,repeat]` with a header: x and y
// of the probe and z in mm, t in s, side one of `+x -x +y -y` (travelling
// towards it) or two of them joined (`+x-y`), repeat a count of passes. Columns
// may stand in any order; blank lines and lines from `#` on are skipped;
// commas, semicolons or tabs separate.
//
// Touches come in the order of the file, with Series SeriesGiven, N counting
// from 1 and, without a t column, T = 0 (no drift can be told then). Errors name the line, the cause and the remedy, and wrap ErrCSV.
func ReadCSV(r io.Reader) ([]record.Touch, error) {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	var columns map[string]int
	var comma string
	var out []record.Touch
	line := 0
	for sc.Scan() {
		line++
		text := strings.TrimSpace(strings.TrimPrefix(sc.Text(), "\ufeff"))
		if text == "" || text[0] == '#' {
			continue
		}
		if columns == nil {
			var err error
			if columns, comma, err = header(text); err != nil {
				return nil, fmt.Errorf("read touches: line %d: %w", line, err)
			}
			continue
		}
		t, err := touchOf(strings.Split(text, comma), columns)
		if err != nil {
			return nil, fmt.Errorf("read touches: line %d: %w", line, err)
		}
		t.N, t.Index = int64(len(out)+1), len(out)
		out = append(out, t)
	}
	switch err := sc.Err(); {
	case errors.Is(err, bufio.ErrTooLong):
		return nil, fmt.Errorf("read touches: line %d: %w: longer than 1 MB; one touch a line", line+1, ErrCSV)
	case err != nil:
		return nil, fmt.Errorf("read touches: line %d: %w", line+1, err)
	case columns == nil:
		return nil, fmt.Errorf("read touches: %w: the file is empty; it needs a header line `x,y,z` and one touch a line", ErrCSV)
	case len(out) == 0:
		return nil, fmt.Errorf("read touches: %w: nothing follows the header; add one touch a line", ErrCSV)
	}
	return out, nil
}

// header returns which column is where.
func header(text string) (map[string]int, string, error) {
	comma := ","
	for _, c := range []string{";", "\t"} {
		if !strings.Contains(text, ",") && strings.Contains(text, c) {
			comma = c
		}
	}
	known := map[string]bool{"x": true, "y": true, "z": true, "t": true, "side": true, "repeat": true}
	columns := map[string]int{}
	for i, name := range strings.Split(text, comma) {
		name = strings.ToLower(strings.Trim(strings.TrimSpace(name), `"`))
		if !known[name] {
			return nil, "", fmt.Errorf("%w: column %q is not known; the header is x,y,z and, if wanted, t, side, repeat", ErrCSV, name)
		}
		if _, twice := columns[name]; twice {
			return nil, "", fmt.Errorf("%w: column %q stands twice; leave one out", ErrCSV, name)
		}
		columns[name] = i
	}
	for _, name := range []string{"x", "y", "z"} {
		if _, there := columns[name]; !there {
			return nil, "", fmt.Errorf("%w: column %q is missing; the first line must name the columns: x,y,z and, if wanted, t, side, repeat", ErrCSV, name)
		}
	}
	return columns, comma, nil
}

// touchOf reads one line.
func touchOf(cells []string, columns map[string]int) (record.Touch, error) {
	t := record.Touch{Series: record.SeriesGiven, Spot: -1}
	if len(cells) != len(columns) {
		return t, fmt.Errorf("%w: %d values where the header has %d columns; write one value a column, with a point for decimals", ErrCSV, len(cells), len(columns))
	}
	for name, at := range map[string]*float64{"x": &t.Place.U, "y": &t.Place.V, "z": &t.Z, "t": &t.T} {
		i, there := columns[name]
		if !there {
			continue
		}
		cell := strings.Trim(strings.TrimSpace(cells[i]), `"`)
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || !tame(v/100) || name != "t" && !tame(v) {
			return t, fmt.Errorf("%w: %s is %q, not a number of %s; correct it or take the line out", ErrCSV, name, cell, unitOf(name))
		}
		*at = v
	}
	if i, there := columns["repeat"]; there {
		cell := strings.Trim(strings.TrimSpace(cells[i]), `"`)
		n, err := strconv.Atoi(cell)
		if err != nil && cell != "" {
			return t, fmt.Errorf("%w: repeat is %q, not a whole number; count the passes from 0", ErrCSV, cell)
		}
		t.Pass = n
	}
	if i, there := columns["side"]; there {
		side, ok := sideOf(strings.Trim(strings.TrimSpace(cells[i]), `"`))
		if !ok {
			return t, fmt.Errorf("%w: side is %q; write +x, -x, +y, -y for the way the head travelled (two joined), or left, right, front, back for the side it came from, or nothing", ErrCSV, cells[i])
		}
		t.Side = side
	}
	return t, nil
}

func unitOf(column string) string {
	if column == "t" {
		return "seconds"
	}
	return "mm"
}

// named are the words of people for the side from which the head came.
var named = map[string]record.Side{
	"left": {X: -1}, "right": {X: 1}, "front": {Y: -1}, "back": {Y: 1},
	"1": {X: -1}, "+1": {X: -1}, "-1": {X: 1}, "0": {}, // travelling towards +X is 1
}

// sideOf reads the direction of travel: towards + means that the head came
// from the smaller coordinate, which record.Side calls -1.
func sideOf(s string) (record.Side, bool) {
	if side, ok := named[strings.ToLower(s)]; ok {
		return side, true
	}
	var side record.Side
	s = strings.ToLower(strings.ReplaceAll(s, " ", ""))
	for s != "" && s != "0" {
		if len(s) < 2 || s[0] != '+' && s[0] != '-' {
			return side, false
		}
		v := int8(-1)
		if s[0] == '-' {
			v = 1
		}
		switch s[1] {
		case 'x':
			side.X = v
		case 'y':
			side.Y = v
		default:
			return side, false
		}
		s = s[2:]
	}
	return side, true
}
