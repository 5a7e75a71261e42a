package dialect

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"abbed/gcode"
)

// highest is the largest height that a node can have, um: 10 mm. Heights beyond
// are no bed (common practice, no source).
const highest = 10000

// ErrMap says that the answer holds a map that cannot be trusted.
var ErrMap = errors.New("the bed map cannot be read")

// ReadMap reads the stored map, whole um: rows along J from the smallest Y,
// columns along I from the smallest X.
//
// A row is its number and then its heights; a heading of column numbers may
// come first. Brackets, commas and tabs are blanks. ok is false if there are no
// rows. err tells why a map that is there is not believed: a row of another
// length, a number that is none, rows that do not count 0, 1, 2, ..., a height
// of more than 10 mm, damage. A second table after other words is not read.
func (d *Dialect) ReadMap(r gcode.Reply) (rows [][]int64, ok bool, err error) {
	var g grid
	bad := func(format string, about ...any) ([][]int64, bool, error) {
		return nil, true, fmt.Errorf("dialect: map: %w: %w", ErrMap, fmt.Errorf(format, about...))
	}
	for _, l := range r.Lines {
		switch {
		case l.Kind == gcode.OK, l.Kind == gcode.Temperatures, l.Kind == gcode.Busy, l.Damaged && !g.began:
			continue
		case l.Damaged:
			return bad("a line came damaged, or is longer than any row: %.60q", l.Text)
		}
		done, err := g.line(l)
		if err != nil {
			return bad("%w", err)
		}
		if done {
			break
		}
	}
	switch {
	case len(g.rows) == 0 && g.columns > 0:
		return bad("a heading and no rows")
	case len(g.rows) == 0:
		return nil, false, nil
	case len(g.rows) < 2 || len(g.rows[0]) < 2:
		return bad("%d rows of %d", len(g.rows), len(g.rows[0]))
	}
	return g.rows, true, nil
}

// grid gathers the rows of a map.
type grid struct {
	columns int // as the heading says; 0 without one
	began   bool
	broken  bool // words came after a row: the map is over, or interrupted
	rows    [][]int64
}

// line takes one line; done says that the map is over.
func (g *grid) line(l gcode.Line) (done bool, err error) {
	cells := cellsOf(l.Text, g.began)
	switch {
	case cells == nil:
		g.broken = g.broken || len(g.rows) > 0 && l.Kind == gcode.Report
		return false, nil
	case g.broken && cells[0] != fmt.Sprint(len(g.rows)):
		return true, nil // another table
	case g.broken:
		return false, fmt.Errorf("it is interrupted before row %d", len(g.rows))
	case isHeading(cells) && !g.began:
		g.columns, g.began = len(cells), true
		return false, nil
	}
	g.began = true
	return false, g.row(cells)
}

// row takes the cells of one row.
func (g *grid) row(cells []string) error {
	j := len(g.rows)
	if cells[0] != fmt.Sprint(j) {
		return fmt.Errorf("row %d is headed %.20q; rows must count from 0, from the smallest Y", j, cells[0])
	}
	cells = cells[1:]
	want := g.columns
	if j > 0 {
		want = len(g.rows[0])
	}
	if want > 0 && len(cells) != want {
		return fmt.Errorf("row %d has %d heights, not %d", j, len(cells), want)
	}
	row := make([]int64, len(cells))
	for i, c := range cells {
		um, ok := micrometres(c)
		if !ok {
			return fmt.Errorf("row %d, column %d: %.20q is no height", j, i, c)
		}
		row[i] = um
	}
	g.rows = append(g.rows, row)
	return nil
}

// cellsOf takes a line of a table apart, nil if it is none. A line is one if it
// begins with a whole number, perhaps behind marks and one word (`row 3:`,
// `echo: 3`), and the rest is numbers for the greater part; once a table has
// begun, whatever the rest is, lest a bad row be taken for words.
func cellsOf(t string, began bool) []string {
	if len(t) > 5 && strings.EqualFold(t[:5], "echo:") {
		t = t[5:]
	}
	t = strings.Map(func(r rune) rune {
		if strings.ContainsRune("[](){},;|:=\t", r) {
			return ' '
		}
		return r
	}, t)
	cells := strings.Fields(strings.TrimLeft(t, "/ "))
	if len(cells) > 0 && isRowWord(cells[0]) {
		cells = cells[1:]
	}
	if len(cells) == 0 || !numeric(cells[0]) {
		return nil
	}
	numbers := 0
	for _, c := range cells {
		if numeric(c) {
			numbers++
		}
	}
	if began || 2*numbers > len(cells) && len(cells) > 1 {
		return cells
	}
	return nil
}

func isRowWord(c string) bool {
	return strings.EqualFold(c, "row") || strings.EqualFold(c, "j") || strings.EqualFold(c, "y")
}

func numeric(c string) bool {
	_, rest, ok := number(c)
	return ok && rest == ""
}

// isHeading reports whether cells are 0 1 2 3 ...
func isHeading(cells []string) bool {
	for i, c := range cells {
		if c != fmt.Sprint(i) {
			return false
		}
	}
	return true
}

// micrometres reads a height in mm as whole um, exactly as it was printed; more
// than three decimals are rounded, half away from zero.
func micrometres(c string) (um int64, ok bool) {
	if !numeric(c) {
		return 0, false
	}
	whole, frac, _ := strings.Cut(strings.TrimLeft(c, "+-"), ".")
	frac += "0000"
	um, err := strconv.ParseInt(whole+frac[:3], 10, 64)
	if frac[3] >= '5' {
		um++
	}
	if c[0] == '-' {
		um = -um
	}
	return um, err == nil && max(um, -um) <= highest
}
