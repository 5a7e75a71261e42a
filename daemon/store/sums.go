package store

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"strings"
)

// summedTable is a table with checksums.
type summedTable struct {
	table   string
	noun    string // of one row, before its key
	columns []string
}

// summed are the tables whose rows carry a checksum over all their other
// columns, in this order. Events and the journal have one over their body, from
// the first version of the schema on; meta and dropped hold nothing that would
// be missed.
var summed = []summedTable{
	{"runs", "run", []string{"id", "began", "steps"}},
	{"tables", "table", []string{"digest", "run", "body", "at"}},
	{"analyses", "the analysis of run", []string{"run", "body", "at"}},
	{"owed", "what was owed, entry", []string{"n", "switches", "why", "at"}},
	{"reports", "report", []string{"kind", "text", "at"}},
	{"audit", "the log of changes, row", []string{"n", "at", "who", "what", "detail"}},
}

// rowSum is the checksum of a row of a summed table: of each cell with its
// length, so that nothing can move from one to the next unseen.
func rowSum(table string, cells ...string) int64 {
	var b strings.Builder
	for _, c := range cells {
		fmt.Fprintf(&b, "%d:%s", len(c), c)
	}
	return sum(table, int64(len(cells)), []byte(b.String()))
}

// checked returns ErrDamaged unless a row of a summed table is what was written.
func checked(want int64, table string, cells ...string) error {
	if rowSum(table, cells...) != want {
		return fmt.Errorf("%s %.40q: %w: its checksum differs", table, cells[0], ErrDamaged)
	}
	return nil
}

// number writes the key of a row as its checksum takes it.
func number(n int64) string { return strconv.FormatInt(n, 10) }

// nextOf returns the number of the next row of a table that counts them.
func nextOf(tx *sql.Tx, table string) (n int64, err error) {
	// Names of tables take no parameters; all are ours.
	err = tx.QueryRow("SELECT coalesce(max(n), 0) + 1 FROM " + table).Scan(&n)
	return n, err
}

// fillSums gives every row that is there its checksum.
func fillSums(ctx context.Context, tx *sql.Tx) error {
	for _, s := range summed {
		sums := map[int64]int64{}
		err := eachRow(ctx, tx, "SELECT rowid, "+strings.Join(s.columns, ", ")+" FROM "+s.table, len(s.columns)+1, func(cells []string) error {
			row, err := strconv.ParseInt(cells[0], 10, 64)
			sums[row] = rowSum(s.table, cells[1:]...)
			return err
		})
		if err != nil {
			return err
		}
		for row, v := range sums {
			if _, err := tx.ExecContext(ctx, "UPDATE "+s.table+" SET sum = ? WHERE rowid = ?", v, row); err != nil {
				return err
			}
		}
	}
	return nil
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

// eachRow calls f with the cells of each row, as text.
func eachRow(ctx context.Context, db querier, query string, columns int, f func(cells []string) error) error {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	cells, into := make([]string, columns), make([]any, columns)
	for i := range cells {
		into[i] = &cells[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := f(cells); err != nil {
			return err
		}
	}
	return rows.Err()
}

// spoilt returns which rows of the file are not what was written, by name. An
// error with ErrDamaged says that what stands in the printer, or is owed to it,
// is among them.
func spoilt(ctx context.Context, db *sql.DB) (names []string, err error) {
	last := map[string]string{}
	for _, table := range []string{"owed", "applied"} {
		if err := eachRow(ctx, db, "SELECT coalesce(max(n), 0) FROM "+table, 1, func(c []string) error { last[table] = c[0]; return nil }); err != nil {
			return nil, err
		}
	}
	wrong := func(table, noun, key string) error {
		if key == last[table] {
			return fmt.Errorf("%s %s, the last: %w: its checksum differs", noun, key, ErrDamaged)
		}
		names = append(names, noun+" "+key)
		return nil
	}
	for _, s := range summed {
		err := eachRow(ctx, db, "SELECT "+strings.Join(s.columns, ", ")+", sum FROM "+s.table, len(s.columns)+1, func(c []string) error {
			if n := len(c) - 1; number(rowSum(s.table, c[:n]...)) != c[n] {
				return wrong(s.table, s.noun, c[0])
			}
			return nil
		})
		if err != nil {
			return names, err
		}
	}
	for _, q := range []string{"SELECT 'applied', n, body, sum FROM applied", "SELECT run, n, body, sum FROM events"} {
		err := eachRow(ctx, db, q, 4, func(c []string) error {
			n, err := strconv.ParseInt(c[1], 10, 64)
			if err != nil || number(sum(c[0], n, []byte(c[2]))) == c[3] {
				return err
			}
			if c[0] == "applied" {
				return wrong("applied", "the journal of what is applied, entry", c[1])
			}
			names = append(names, "event "+c[1]+" of run "+c[0])
			return nil
		})
		if err != nil {
			return names, err
		}
	}
	return names, nil
}

// tellSpoilt is the Notice about rows that are not what was written.
func tellSpoilt(names []string) Notice {
	if len(names) == 0 {
		return Notice{}
	}
	const most = 5
	list := strings.Join(names[:min(most, len(names))], "; ")
	if len(names) > most {
		list += fmt.Sprintf("; and %d more", len(names)-most)
	}
	return Notice{
		Text: fmt.Sprintf("In the store of runs %d entries are not what was written: %s.", len(names), list),
		Hint: "They are not used. A run is shown as far as it can be trusted. Nothing was deleted. Check the disk or the card, and copy the state directory to a good one.",
	}
}
