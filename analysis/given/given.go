package given

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"abbed/analysis/result"
	"abbed/analysis/typed"
	"abbed/probe/record"
)

// ErrCSV is wrapped by every error of ReadCSV that the file is to blame for.
var ErrCSV = errors.New("not a table of touches")

// ReadCSV reads touches from `x,y,z[,t][,side][,repeat]` with a header: x and y
// of the probe and z in mm, t in s, side one of `+x -x +y -y` (travelling
// towards it) or two of them joined (`+x-y`), repeat a count of passes. Columns
// may stand in any order; the package typed says how it may be typed.
//
// Touches come in the order of the file, with Series SeriesGiven, N counting
// from 1 and, without a t column, T = 0 (no drift can be told then). Errors name the
// line, the cause and the remedy, and wrap ErrCSV.
func ReadCSV(r io.Reader) ([]record.Touch, error) {
	t, err := typed.Read(r, typed.Measured)
	var at map[string]int
	if err == nil {
		at, err = t.Named([]string{"x", "y", "z"}, []string{"t", "side", "repeat"})
	}
	if err != nil {
		return nil, fmt.Errorf("read touches: %w: %w", ErrCSV, err)
	}
	var out []record.Touch
	for i, l := range t.Lines {
		touch, err := touchOf(l, at)
		if err != nil {
			return nil, fmt.Errorf("read touches: line %d: %w: %w", l.At, ErrCSV, err)
		}
		touch.N, touch.Index = int64(i+1), i
		out = append(out, touch)
	}
	return out, nil
}

// touchOf reads one line.
func touchOf(l typed.Line, columns map[string]int) (record.Touch, error) {
	t := record.Touch{Series: record.SeriesGiven, Spot: -1}
	for name, to := range map[string]*float64{"x": &t.Place.U, "y": &t.Place.V, "z": &t.Z, "t": &t.T} {
		i, there := columns[name]
		if !there {
			continue
		}
		v, err := l.Number(i)
		if err != nil {
			return t, err
		}
		if !result.Tame(v/100) || name != "t" && !result.Tame(v) {
			return t, fmt.Errorf("%s is %q, which cannot be right; correct it or take the line out", name, l.Cell(i))
		}
		*to = v
	}
	if i, there := columns["repeat"]; there && l.Cell(i) != "" {
		var err error
		if t.Pass, err = strconv.Atoi(l.Cell(i)); err != nil {
			return t, fmt.Errorf("repeat is %q, not a whole number; count the passes from 0", l.Cell(i))
		}
	}
	if i, there := columns["side"]; there {
		var ok bool
		if t.Side, ok = sideOf(l.Cell(i)); !ok {
			return t, fmt.Errorf("side is %q; write +x, -x, +y or -y, or left, right, front or back", l.Cell(i))
		}
	}
	return t, nil
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
