package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
)

// sick is what an export holds that was not what was written when it was made.
type sick struct {
	wrong   []string
	journal []exportRow       // of applied and owed, until all are there
	last    map[string]string // by table of the journal: its last row, if that is wrong
	left    int64             // rows that were not taken over
}

// take puts a row in, or keeps it for journal.
func (in *importer) take(ctx context.Context, tx *sql.Tx, row exportRow) error {
	wrong, err := unsound(row)
	if err != nil {
		return in.bad("%v", err)
	}
	if wrong != "" {
		in.sick.wrong = append(in.sick.wrong, wrong)
	}
	if row.Table != "applied" && row.Table != "owed" {
		return in.insert(ctx, tx, row)
	}
	if in.sick.last == nil {
		in.sick.last = map[string]string{}
	}
	in.sick.last[row.Table] = wrong
	in.sick.journal = append(in.sick.journal, row)
	return nil
}

// journal puts in what was applied and owed, unless the last of it cannot be
// trusted: an earlier entry would then be taken for what the printer holds. It
// returns the number of rows that are left out.
func (in *importer) journal(ctx context.Context, tx *sql.Tx) (left int64, err error) {
	if in.sick.last["applied"] != "" || in.sick.last["owed"] != "" {
		in.sick.left = int64(len(in.sick.journal))
		return in.sick.left, nil
	}
	for _, row := range in.sick.journal {
		if err := in.insert(ctx, tx, row); err != nil {
			return 0, err
		}
	}
	return 0, nil
}

// notice says what is spoilt, and what was done about it.
func (s sick) notice() Notice {
	n := tellSpoilt(s.wrong)
	if n == (Notice{}) {
		return n
	}
	n.Text = "Read in, but already spoilt when it was exported: " + n.Text
	n.Hint = "They are not used. A run is shown as far as it can be trusted. Everything else is whole."
	if s.left > 0 {
		n.Hint += fmt.Sprintf(" What was applied to the printer, or owed to it, is not known: its last entry is spoilt, so none of its %d entries was taken over. Look at the printer's bed map before you go on.", s.left)
	}
	return n
}

// unsound names a row whose checksum is not that of what it holds; empty if it
// is, or has none.
func unsound(row exportRow) (string, error) {
	want, has := row.Row["sum"].(json.Number)
	if !has {
		return "", nil
	}
	got, name, err := sumOfRow(row.Table, row.Row)
	if err != nil || want.String() == number(got) {
		return "", err
	}
	return name, nil
}

// sumOfRow returns the checksum that a row of an export should have, and its name.
func sumOfRow(table string, row map[string]any) (int64, string, error) {
	cell := func(column string) string { return fmt.Sprint(row[column]) }
	if table == "events" || table == "applied" {
		key, name := table, "the journal of what is applied, entry "+cell("n")
		if table == "events" {
			key, name = cell("run"), "event "+cell("n")+" of run "+cell("run")
		}
		n, err := strconv.ParseInt(cell("n"), 10, 64)
		return sum(key, n, []byte(cell("body"))), name, err
	}
	k := slices.IndexFunc(summed, func(s summedTable) bool { return s.table == table })
	if k < 0 {
		return 0, "", fmt.Errorf("%.40q has no checksums", table)
	}
	cells := make([]string, len(summed[k].columns))
	for i, c := range summed[k].columns {
		cells[i] = cell(c)
	}
	return rowSum(table, cells...), summed[k].noun + " " + cells[0], nil
}
