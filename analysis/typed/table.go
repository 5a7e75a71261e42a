package typed

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

// ErrEmpty says that there is no line but blank ones and comments.
var ErrEmpty = errors.New("the file is empty")

// Typed is how much a person types at most, bytes, and Measured what a file of touches has.
const (
	Typed    = 1 << 20
	Measured = 1 << 26
)

// Table is a header with the lines under it.
type Table struct {
	// Columns are the names of the header, in lower case, without blanks around.
	Columns []string
	// Lines may have fewer or more cells than there are columns.
	Lines []Line
	comma bool // a number may have a comma for its point
}

// Line is one line of a table.
type Line struct {
	// At is where it stands in the file, from 1.
	At    int
	Cells []string
	table *Table
}

// Read reads a table: a header, then a line each; commas, semicolons or tabs
// separate, whichever the header shows; blank lines and lines from `#` on are
// skipped, and so is a byte order mark. More than largest bytes are refused.
func Read(r io.Reader, largest int64) (*Table, error) {
	b, err := io.ReadAll(io.LimitReader(r, largest+1))
	if err != nil {
		return nil, err
	}
	if int64(len(b)) > largest {
		return nil, fmt.Errorf("the file is larger than %d bytes; is it the right file?", largest)
	}
	text := strings.TrimPrefix(string(b), "\ufeff")
	c := csv.NewReader(strings.NewReader(text))
	c.Comment, c.TrimLeadingSpace, c.FieldsPerRecord = '#', true, -1
	c.Comma = separator(text)
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, ErrEmpty
	}
	if err != nil {
		return nil, err
	}
	t := &Table{comma: c.Comma != ','}
	for _, name := range head {
		t.Columns = append(t.Columns, strings.ToLower(strings.TrimSpace(name)))
	}
	return t, t.fill(c)
}

// fill reads the lines under the header.
func (t *Table) fill(c *csv.Reader) error {
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		at, _ := c.FieldPos(0)
		t.Lines = append(t.Lines, Line{At: at, Cells: cells, table: t})
	}
}

// Named says in which column each of the names stands: all that are wanted must be there,
// nothing but them and the optional may, and each line must have a cell for each.
func (t *Table) Named(wanted, optional []string) (map[string]int, error) {
	header := fmt.Sprintf("the first line must name the columns: %s and, if wanted, %s", strings.Join(wanted, ","), strings.Join(optional, ","))
	at := map[string]int{}
	for i, name := range t.Columns {
		if !slices.Contains(wanted, name) && !slices.Contains(optional, name) {
			return nil, fmt.Errorf("line 1: column %q is not known; %s", name, header)
		}
		if _, twice := at[name]; twice {
			return nil, fmt.Errorf("line 1: column %q stands twice; leave one out", name)
		}
		at[name] = i
	}
	for _, name := range wanted {
		if _, ok := at[name]; !ok {
			return nil, fmt.Errorf("line 1: column %q is missing; %s", name, header)
		}
	}
	if len(t.Lines) == 0 {
		return nil, errors.New("nothing follows the header; add one line for each value")
	}
	for _, l := range t.Lines {
		if len(l.Cells) != len(t.Columns) {
			return nil, fmt.Errorf("line %d: %d values where the header has %d columns; write one value a column, with decimal points", l.At, len(l.Cells), len(t.Columns))
		}
	}
	return at, nil
}

// separator is what stands between the columns of the first line that is no comment.
func separator(text string) rune {
	for l := range strings.Lines(text) {
		if l = strings.TrimSpace(l); l == "" || l[0] == '#' {
			continue
		}
		for _, c := range ";\t" {
			if strings.ContainsRune(l, c) {
				return c
			}
		}
		break
	}
	return ','
}

// Cell returns the text of column i, from 0, without blanks around; "" beyond the
// line's end.
func (l Line) Cell(i int) string {
	if i >= len(l.Cells) {
		return ""
	}
	return strings.TrimSpace(l.Cells[i])
}

// Number returns column i, from 0, as a finite number. The error names the column,
// not the line.
func (l Line) Number(i int) (float64, error) {
	text := l.Cell(i)
	if l.table.comma {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case text == "":
		return 0, fmt.Errorf("there is no %s; write it, or take the line out", l.table.Columns[i])
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		return 0, fmt.Errorf("%s is %q, not a number; correct it, or take the line out", l.table.Columns[i], l.Cell(i))
	}
	return v, nil
}
