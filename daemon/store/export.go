package store

import (
	"bufio"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// Export is one file of JSON lines that says what it is: a header, one line for
// each row of each table, and a footer with the number of rows and the SHA-256
// (FIPS 180-4) of every byte before it.
const (
	exportFormat  = "abbed-export"
	exportVersion = 1
	longestLine   = 64 << 20 // bytes; a row is the record of one event at most
)

// exported are the tables in the order in which they can be read in again, with
// the order of their rows.
var exported = []struct{ table, order string }{
	{"meta", "key"}, {"runs", "id"}, {"events", "run, n"}, {"tables", "digest"}, {"analyses", "run"},
	{"applied", "n"}, {"owed", "n"}, {"reports", "kind"}, {"audit", "n"}, {"dropped", "run"},
}

type exportHeader struct {
	Format  string    `json:"format"`
	Version int       `json:"version"`
	Schema  int       `json:"schema"`
	At      time.Time `json:"at"`
}

type exportRow struct {
	Table string         `json:"table"`
	Row   map[string]any `json:"row"`
}

type exportFooter struct {
	End    bool   `json:"end"`
	Rows   int64  `json:"rows"`
	SHA256 string `json:"sha256"`
}

// Export writes everything in the store of dir to w, as it stands at one
// moment, also while a daemon goes on writing it; nothing is changed. Secrets
// (the token, sessions) are not part of the store and not exported. It returns
// the number of rows; the Notice names those that are not what was written, which
// go out as they stand. ErrNone if there is no store, ErrDamaged or ErrNewer if
// the file as a whole cannot be trusted.
func Export(ctx context.Context, dir string, w io.Writer, at time.Time) (int64, Notice, error) {
	n, notice, err := export(ctx, dir, w, at)
	if err != nil {
		return n, Notice{}, failed("export "+dir, err)
	}
	return n, notice, nil
}

func export(ctx context.Context, dir string, w io.Writer, at time.Time) (n int64, notice Notice, err error) {
	s := &Store{dir: dir}
	if _, err := os.Stat(s.path()); errors.Is(err, os.ErrNotExist) {
		return 0, notice, ErrNone
	}
	if err := orphan(dir); err != nil {
		return 0, notice, err
	}
	db, err := sql.Open("sqlite", dsn(s.path(), true))
	if err != nil {
		return 0, notice, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	if err := check(ctx, db); err != nil {
		return 0, notice, err
	}
	if n, err = exportRows(ctx, db, w, at); err != nil {
		return n, notice, err
	}
	notice, err = spoiltOnTheWay(ctx, db)
	return n, notice, err
}

// exportRows writes the whole file, header and footer included.
func exportRows(ctx context.Context, db *sql.DB, w io.Writer, at time.Time) (n int64, err error) {
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one moment for all tables
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, rolledBack(tx.Rollback())) }()
	out := newExporter(w)
	schema, err := version(ctx, tx)
	if err != nil {
		return 0, err
	}
	out.line(exportHeader{exportFormat, exportVersion, schema, at.UTC()})
	for _, t := range exported {
		if err := out.table(ctx, tx, t.table, t.order); err != nil {
			return out.rows, err
		}
	}
	return out.rows, out.end()
}

// exporter writes lines and sums them up.
type exporter struct {
	w    *bufio.Writer
	sum  hash.Hash
	rows int64
	err  error
}

func newExporter(w io.Writer) *exporter { return &exporter{w: bufio.NewWriter(w), sum: sha256.New()} }

func (e *exporter) line(v any) {
	b, err := json.Marshal(v)
	if e.err == nil {
		e.err = err
	}
	if e.err != nil {
		return
	}
	b = append(b, '\n')
	e.sum.Write(b)
	_, e.err = e.w.Write(b)
}

func (e *exporter) table(ctx context.Context, tx *sql.Tx, table, order string) error {
	// Names of tables take no parameters; all are ours.
	rows, err := tx.QueryContext(ctx, "SELECT * FROM "+table+" ORDER BY "+order)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	for rows.Next() {
		cells := make([]any, len(columns))
		into := make([]any, len(columns))
		for i := range cells {
			into[i] = &cells[i]
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
		row := map[string]any{}
		for i, c := range columns {
			row[c] = cells[i]
		}
		e.line(exportRow{table, row})
		e.rows++
		if e.err != nil {
			return e.err
		}
	}
	return rows.Err()
}

func (e *exporter) end() error {
	e.line(exportFooter{true, e.rows, hex.EncodeToString(e.sum.Sum(nil))})
	return errors.Join(e.err, e.w.Flush())
}

// spoiltOnTheWay names the rows that an export took along although they are not
// what was written.
func spoiltOnTheWay(ctx context.Context, db *sql.DB) (Notice, error) {
	if v, err := version(ctx, db); err != nil || v < len(migrations) {
		return Notice{}, err // an older file is looked through when it is brought up to date
	}
	names, err := spoilt(ctx, db)
	if errors.Is(err, ErrDamaged) {
		names, err = append(names, err.Error()), nil
	}
	notice := tellSpoilt(names)
	if len(names) > 0 {
		notice.Hint = "They are in the file as they stand, and abbed data import names them, too. Everything else is whole. Check the disk or the card."
	}
	return notice, err
}

// Import makes the store of dir out of what Export wrote. There must be none in
// dir: nothing is ever overwritten. The file's checksum, versions, the order of
// events and the file's own rules are checked before the store appears under its
// name, at once or not at all. It returns the number of rows. ErrDamaged,
// ErrNewer, ErrInUse or os.ErrExist say why it is refused.
//
// A row that was not what was written already when it was exported is no reason to
// refuse the others: the Notice names it, and the store does not use it. If it is
// the last of what was applied or owed, nothing of both is taken over, since what
// the printer holds cannot be told.
func Import(ctx context.Context, dir string, r io.Reader) (int64, Notice, error) {
	n, notice, err := importTo(ctx, dir, r)
	if err != nil {
		return n, Notice{}, failed("import into "+dir, err)
	}
	return n, notice, nil
}

func importTo(ctx context.Context, dir string, r io.Reader) (n int64, notice Notice, err error) {
	if _, none := os.Stat(dir); errors.Is(none, os.ErrNotExist) {
		defer func() {
			if err != nil { // nothing of it stays
				err = errors.Join(err, os.RemoveAll(dir))
			}
		}()
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return 0, notice, err
	}
	lock, err := lockDir(dir)
	if err != nil {
		return 0, notice, err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	for _, suffix := range []string{"", "-wal"} {
		if _, err := os.Stat(filepath.Join(dir, fileName+suffix)); !errors.Is(err, os.ErrNotExist) {
			return 0, notice, fmt.Errorf("%s is there already, and is not overwritten; give --state another directory: %w", fileName+suffix, os.ErrExist)
		}
	}
	tmp, err := os.MkdirTemp(dir, "import-")
	if err != nil {
		return 0, notice, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	file := filepath.Join(tmp, fileName)
	if n, notice, err = build(ctx, file, r); err != nil {
		return n, notice, err
	}
	if err := os.Rename(file, filepath.Join(dir, fileName)); err != nil {
		return n, notice, err
	}
	return n, notice, syncDir(dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// columnsOf returns the columns of a table of the file.
func columnsOf(ctx context.Context, tx *sql.Tx, table string) ([]string, error) {
	rows, err := tx.QueryContext(ctx, "SELECT name FROM pragma_table_info(?)", table)
	out, err := collect(rows, err, func(rows *sql.Rows) (c string, err error) {
		err = rows.Scan(&c)
		return c, err
	})
	slices.Sort(out)
	return out, err
}
