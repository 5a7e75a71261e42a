package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// applicationID marks the file as ours: "abbd".
const applicationID = 0x61626264

// migration leads from one version of the schema to the next.
type migration struct {
	sql  string
	fill func(context.Context, *sql.Tx) error // of what SQL cannot; or nil
	then string
}

// migrations lead from each version of the schema to the next; entry k makes
// version k+1. An entry is never changed once it was released: testdata holds a
// store of each version.
var migrations = []migration{
	{sql: `
CREATE TABLE meta (
	key   TEXT NOT NULL PRIMARY KEY,
	value TEXT NOT NULL
) STRICT;

CREATE TABLE runs (
	id    TEXT NOT NULL PRIMARY KEY,
	began TEXT NOT NULL,
	steps TEXT NOT NULL CHECK (json_valid(steps))
) STRICT;

-- dropped names the runs whose events may be deleted, and why they were.
CREATE TABLE dropped (
	run TEXT NOT NULL PRIMARY KEY,
	why TEXT NOT NULL,
	at  TEXT NOT NULL
) STRICT;

CREATE TABLE events (
	run  TEXT    NOT NULL REFERENCES runs (id),
	n    INTEGER NOT NULL,
	kind TEXT    NOT NULL,
	body TEXT    NOT NULL,
	sum  INTEGER NOT NULL,
	PRIMARY KEY (run, n)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER events_in_order BEFORE INSERT ON events
WHEN NEW.n <> (SELECT coalesce(max(n), 0) + 1 FROM events WHERE run = NEW.run)
BEGIN SELECT RAISE(ABORT, 'events follow each other without gaps'); END;
CREATE TRIGGER events_never_change BEFORE UPDATE ON events
BEGIN SELECT RAISE(ABORT, 'events are append-only'); END;
CREATE TRIGGER events_never_go BEFORE DELETE ON events
WHEN NOT EXISTS (SELECT 1 FROM dropped WHERE run = OLD.run)
BEGIN SELECT RAISE(ABORT, 'events are append-only'); END;

CREATE TABLE tables (
	digest TEXT NOT NULL PRIMARY KEY,
	run    TEXT NOT NULL REFERENCES runs (id),
	body   TEXT NOT NULL CHECK (json_valid(body)),
	at     TEXT NOT NULL
) STRICT;
CREATE TRIGGER tables_never_change BEFORE UPDATE ON tables
BEGIN SELECT RAISE(ABORT, 'a table is what its digest says'); END;

CREATE TABLE analyses (
	run  TEXT NOT NULL PRIMARY KEY REFERENCES runs (id),
	body TEXT NOT NULL CHECK (json_valid(body)),
	at   TEXT NOT NULL
) STRICT;

CREATE TABLE applied (
	n      INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
	state  TEXT    NOT NULL,
	digest TEXT    NOT NULL,
	body   TEXT    NOT NULL,
	sum    INTEGER NOT NULL
) STRICT;
CREATE TRIGGER applied_never_changes BEFORE UPDATE ON applied
BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER applied_never_goes BEFORE DELETE ON applied
BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;

CREATE TABLE owed (
	n        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
	switches TEXT    NOT NULL CHECK (json_valid(switches)),
	why      TEXT    NOT NULL,
	at       TEXT    NOT NULL
) STRICT;
CREATE TRIGGER owed_never_changes BEFORE UPDATE ON owed
BEGIN SELECT RAISE(ABORT, 'what was owed stays written'); END;
CREATE TRIGGER owed_never_goes BEFORE DELETE ON owed
BEGIN SELECT RAISE(ABORT, 'what was owed stays written'); END;

CREATE TABLE reports (
	kind TEXT NOT NULL PRIMARY KEY,
	text TEXT NOT NULL,
	at   TEXT NOT NULL
) STRICT;

CREATE TABLE audit (
	n      INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
	at     TEXT NOT NULL,
	who    TEXT NOT NULL,
	what   TEXT NOT NULL,
	detail TEXT NOT NULL
) STRICT;
CREATE TRIGGER audit_never_changes BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is append-only'); END;
CREATE TRIGGER audit_never_goes BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is append-only'); END;
`},
	// A checksum for each row: SQLite does not see a flipped bit in a value.
	{sql: `
DROP TRIGGER tables_never_change;
DROP TRIGGER owed_never_changes;
DROP TRIGGER audit_never_changes;
ALTER TABLE runs     ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE tables   ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE analyses ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE owed     ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE reports  ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
ALTER TABLE audit    ADD COLUMN sum INTEGER NOT NULL DEFAULT 0;
`, fill: fillSums, then: `
CREATE TRIGGER tables_never_change BEFORE UPDATE ON tables
BEGIN SELECT RAISE(ABORT, 'a table is what its digest says'); END;
CREATE TRIGGER owed_never_changes BEFORE UPDATE ON owed
BEGIN SELECT RAISE(ABORT, 'what was owed stays written'); END;
CREATE TRIGGER audit_never_changes BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is append-only'); END;
`},
}

// rower is a database or a transaction.
type rower interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

// version returns the schema's version, 0 for an empty file.
func version(ctx context.Context, db rower) (int, error) {
	var v int
	err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&v)
	return v, err
}

// migrate brings the schema up to date, each version in one transaction.
func migrate(ctx context.Context, db *sql.DB) error {
	have, err := version(ctx, db)
	if err != nil {
		return err
	}
	if have > len(migrations) {
		return fmt.Errorf("version %d: %w", have, ErrNewer)
	}
	for v := have; v < len(migrations); v++ {
		if err := step(ctx, db, v); err != nil {
			return fmt.Errorf("bring the schema to version %d: %w", v+1, err)
		}
	}
	return nil
}

func step(ctx context.Context, db *sql.DB, v int) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	m := migrations[v]
	if _, err := tx.ExecContext(ctx, m.sql); err != nil {
		return err
	}
	if m.fill != nil {
		if err := m.fill(ctx, tx); err != nil {
			return err
		}
	}
	// A pragma takes no parameters; both numbers are ours.
	for _, q := range []string{
		m.then,
		fmt.Sprintf("PRAGMA user_version = %d", v+1),
		fmt.Sprintf("PRAGMA application_id = %d", applicationID),
	} {
		if _, err := tx.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// rules returns the tables, indices and triggers of a file as it holds them.
func rules(ctx context.Context, db querier) (out []string, err error) {
	err = eachRow(ctx, db, "SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_schema ORDER BY type, name", 4, func(c []string) error {
		out = append(out, strings.Join(c, "\x00"))
		return nil
	})
	return out, err
}

// released are the rules of each version of the schema, made once.
var released = sync.OnceValues(func() (all [][]string, err error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	ctx := context.Background()
	all = [][]string{nil}
	for v := range migrations {
		if err := step(ctx, db, v); err != nil {
			return nil, err
		}
		is, err := rules(ctx, db)
		if err != nil {
			return nil, err
		}
		all = append(all, is)
	}
	return all, nil
})

// sameRules returns ErrDamaged unless the file holds the rules of its version:
// a bit that flips in them could undo what they forbid.
func sameRules(ctx context.Context, db *sql.DB) error {
	all, err := released()
	if err != nil {
		return err
	}
	v, err := version(ctx, db)
	if err != nil {
		return err
	}
	got, err := rules(ctx, db)
	if err != nil {
		return err
	}
	if !slices.Equal(got, all[v]) {
		return fmt.Errorf("the rules of %s are not those that were written: %w", fileName, ErrDamaged)
	}
	return nil
}
