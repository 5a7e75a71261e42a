package store

import (
	"context"
	"database/sql"
	"fmt"
)

// applicationID marks the file as ours: "abbd".
const applicationID = 0x61626264

// migrations lead from each version of the schema to the next; entry k makes
// version k+1. An entry is never changed once it was released.
var migrations = []string{
	`
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
`,
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
	// A pragma takes no parameters; both numbers are ours.
	for _, q := range []string{
		migrations[v],
		fmt.Sprintf("PRAGMA user_version = %d", v+1),
		fmt.Sprintf("PRAGMA application_id = %d", applicationID),
	} {
		if _, err := tx.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return tx.Commit()
}
