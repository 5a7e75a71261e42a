package store

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
)

// build makes a store's file out of an export.
func build(ctx context.Context, file string, r io.Reader) (n int64, notice Notice, err error) {
	in := &importer{r: bufio.NewReaderSize(r, 1<<16), sum: sha256.New()}
	head, err := in.header()
	if err != nil {
		return 0, notice, err
	}
	if n, err = in.fill(ctx, file, head.Schema); err != nil {
		return n, notice, err
	}
	return n, in.sick.notice(), nil
}

// fill makes the file with the schema of the export, and reads all rows into it.
func (in *importer) fill(ctx context.Context, file string, schema int) (n int64, err error) {
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return 0, err
	}
	if err := f.Close(); err != nil {
		return 0, err
	}
	db, err := sql.Open("sqlite", dsn(file, false))
	if err != nil {
		return 0, err
	}
	db.SetMaxOpenConns(1)
	// Closing the last connection merges the log into the file.
	defer func() { err = errors.Join(err, db.Close()) }()
	for v := range schema {
		if err := step(ctx, db, v); err != nil {
			return 0, fmt.Errorf("make the schema of version %d: %w", v+1, err)
		}
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return 0, err
	}
	if n, err = in.rows(ctx, tx); err != nil {
		return n, errors.Join(err, rolledBack(tx.Rollback()))
	}
	if err := tx.Commit(); err != nil {
		return n, err
	}
	return n, check(ctx, db)
}

// importer reads lines and sums them up.
type importer struct {
	r interface {
		ReadSlice(byte) ([]byte, error)
	}
	sum interface {
		io.Writer
		Sum([]byte) []byte
	}
	no   int
	cols map[string][]string

	sick sick
}

// line reads the next line; its end must be there.
func (in *importer) line() ([]byte, error) {
	var line []byte
	in.no++
	for {
		part, err := in.r.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case err == nil:
			return line, nil
		case len(line) > longestLine:
			return nil, in.bad("the line is too long")
		case errors.Is(err, io.EOF):
			return nil, in.bad("the file ends before its last line; was it cut short?")
		case !errors.Is(err, bufio.ErrBufferFull):
			return nil, err
		}
	}
}

func (in *importer) bad(text string, args ...any) error {
	return fmt.Errorf("line %d: %s: %w", in.no, fmt.Sprintf(text, args...), ErrDamaged)
}

func (in *importer) header() (exportHeader, error) {
	var h exportHeader
	line, err := in.line()
	if err != nil {
		return h, err
	}
	in.sum.Write(line)
	if err := strict(line, &h); err != nil || h.Format != exportFormat {
		return h, in.bad("this is no file of abbed data export")
	}
	if h.Version > exportVersion || h.Schema > len(migrations) {
		return h, ErrNewer
	}
	if h.Version < 1 || h.Schema < 1 {
		return h, in.bad("there is no version %d with schema %d", h.Version, h.Schema)
	}
	return h, nil
}

// rows reads everything up to the footer, and holds the footer to it.
func (in *importer) rows(ctx context.Context, tx *sql.Tx) (n int64, err error) {
	in.cols = map[string][]string{}
	for {
		line, err := in.line()
		if err != nil {
			return n, err
		}
		if bytes.HasPrefix(line, []byte(`{"end":`)) {
			if err := in.footer(line, n); err != nil {
				return n, err
			}
			left, err := in.journal(ctx, tx)
			return n - left, err
		}
		in.sum.Write(line)
		var row exportRow
		if err := strict(line, &row); err != nil {
			return n, in.bad("%v", err)
		}
		if err := in.take(ctx, tx, row); err != nil {
			return n, err
		}
		n++
	}
}

func (in *importer) footer(line []byte, n int64) error {
	var f exportFooter
	if err := strict(line, &f); err != nil {
		return in.bad("%v", err)
	}
	if f.Rows != n || f.SHA256 != hex.EncodeToString(in.sum.Sum(nil)) {
		return in.bad("the checksum differs, or %d rows are not the %d that were written", n, f.Rows)
	}
	if _, err := in.r.ReadSlice('\n'); !errors.Is(err, io.EOF) {
		return in.bad("something follows the last line")
	}
	return nil
}

// insert puts a row in. Its table and its columns must be the file's own: no
// name of the export becomes part of a statement.
func (in *importer) insert(ctx context.Context, tx *sql.Tx, row exportRow) error {
	k := slices.IndexFunc(exported, func(t struct{ table, order string }) bool { return t.table == row.Table })
	if k < 0 {
		return in.bad("there is no table %q", row.Table)
	}
	table := exported[k].table
	want, ok := in.cols[table]
	if !ok {
		var err error
		if want, err = columnsOf(ctx, tx, table); err != nil {
			return err
		}
		in.cols[table] = want
	}
	if !slices.Equal(slices.Sorted(maps.Keys(row.Row)), want) {
		return in.bad("the columns of %s are others", table)
	}
	args := make([]any, len(want))
	for i, c := range want {
		v := row.Row[c]
		if num, is := v.(json.Number); is {
			whole, err := num.Int64()
			if err != nil {
				return in.bad("%s of %s: %v", c, table, err)
			}
			v = whole
		}
		args[i] = v
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO "+table+" ("+strings.Join(want, ", ")+") VALUES (?"+strings.Repeat(", ?", len(want)-1)+")", args...)
	if err != nil {
		return in.bad("%v", err)
	}
	return nil
}

// strict decodes one JSON value without unknown fields, numbers as they are
// written.
func strict(line []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	d.DisallowUnknownFields()
	if d.Decode(into) != nil {
		return errors.New("it is not what abbed data export writes")
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more than one value")
	}
	return nil
}
