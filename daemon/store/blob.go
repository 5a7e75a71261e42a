package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"
)

// SaveTable keeps a correction table under its digest. A digest that is there
// already is left as it is: a digest means one table.
func (s *Store) SaveTable(_ context.Context, digest, run string, body json.RawMessage) error {
	return s.do("save table "+digest, func(tx *sql.Tx) error {
		at := stamp(time.Now())
		_, err := tx.Exec("INSERT INTO tables (digest, run, body, at, sum) VALUES (?, ?, ?, ?, ?) ON CONFLICT (digest) DO NOTHING",
			digest, run, string(body), at, rowSum("tables", digest, run, string(body), at))
		return err
	})
}

// Table returns the run and the body of a table; ErrNone if it is not there,
// ErrDamaged if it is not what was written.
func (s *Store) Table(ctx context.Context, digest string) (run string, body json.RawMessage, err error) {
	var text, at string
	err = s.row(ctx, "read table "+digest, "SELECT run, body, at, sum FROM tables WHERE digest = ?", digest,
		func(sum int64) error { return checked(sum, "tables", digest, run, text, at) }, &run, &text, &at)
	if err != nil {
		return "", nil, err
	}
	return run, json.RawMessage(text), nil
}

// SaveAnalysis keeps the analysis of a run, in place of an earlier one.
func (s *Store) SaveAnalysis(_ context.Context, run string, body json.RawMessage) error {
	return s.do("save the analysis of run "+run, func(tx *sql.Tx) error {
		at := stamp(time.Now())
		_, err := tx.Exec("INSERT INTO analyses (run, body, at, sum) VALUES (?, ?, ?, ?) ON CONFLICT (run) DO UPDATE SET body = excluded.body, at = excluded.at, sum = excluded.sum",
			run, string(body), at, rowSum("analyses", run, string(body), at))
		return err
	})
}

// Analysis returns the analysis of a run; ErrNone if there is none, ErrDamaged
// if it is not what was written.
func (s *Store) Analysis(ctx context.Context, run string) (json.RawMessage, error) {
	var text, at string
	err := s.row(ctx, "read the analysis of run "+run, "SELECT body, at, sum FROM analyses WHERE run = ?", run,
		func(sum int64) error { return checked(sum, "analyses", run, text, at) }, &text, &at)
	if err != nil {
		return nil, err
	}
	return json.RawMessage(text), nil
}

// SaveReport keeps a text that the printer printed, in place of the earlier one
// of its kind: the settings report taken at the last restart, for one.
func (s *Store) SaveReport(_ context.Context, kind, text string, at time.Time) error {
	return s.do("save report "+kind, func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT INTO reports (kind, text, at, sum) VALUES (?, ?, ?, ?) ON CONFLICT (kind) DO UPDATE SET text = excluded.text, at = excluded.at, sum = excluded.sum",
			kind, text, stamp(at), rowSum("reports", kind, text, stamp(at)))
		return err
	})
}

// Report returns the report of a kind and when it was taken; ErrNone if there
// is none, ErrDamaged if it is not what was written.
func (s *Store) Report(ctx context.Context, kind string) (text string, at time.Time, err error) {
	var when string
	err = s.row(ctx, "read report "+kind, "SELECT text, at, sum FROM reports WHERE kind = ?", kind,
		func(sum int64) error { return checked(sum, "reports", kind, text, when) }, &text, &when)
	if err != nil {
		return "", time.Time{}, err
	}
	at, err = unstamp(when)
	return text, at, err
}

// row reads the one row with a key, and holds it to its checksum, which comes
// last; ErrNone if there is no such row.
func (s *Store) row(ctx context.Context, act, query, key string, check func(sum int64) error, into ...any) error {
	var sum int64
	err := s.read.QueryRowContext(ctx, query, key).Scan(append(into, &sum)...)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNone
	} else if err == nil {
		err = check(sum)
	}
	return failed(act, err)
}
