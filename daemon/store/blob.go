package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// SaveTable keeps a correction table under its digest. A digest that is there
// already is left as it is: a digest means one table.
func (s *Store) SaveTable(_ context.Context, digest, run string, body json.RawMessage) error {
	return s.do("save table "+digest, func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT INTO tables (digest, run, body, at) VALUES (?, ?, ?, ?) ON CONFLICT (digest) DO NOTHING",
			digest, run, string(body), stamp(time.Now()))
		return err
	})
}

// Table returns the run and the body of a table; ErrNone if it is not there.
func (s *Store) Table(ctx context.Context, digest string) (run string, body json.RawMessage, err error) {
	err = s.one1(ctx, "read table "+digest, "SELECT run, body FROM tables WHERE digest = ?", digest, &run, (*[]byte)(&body))
	return run, body, err
}

// SaveAnalysis keeps the analysis of a run, in place of an earlier one.
func (s *Store) SaveAnalysis(_ context.Context, run string, body json.RawMessage) error {
	return s.do("save the analysis of run "+run, func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT INTO analyses (run, body, at) VALUES (?, ?, ?) ON CONFLICT (run) DO UPDATE SET body = excluded.body, at = excluded.at",
			run, string(body), stamp(time.Now()))
		return err
	})
}

// Analysis returns the analysis of a run; ErrNone if there is none.
func (s *Store) Analysis(ctx context.Context, run string) (json.RawMessage, error) {
	var body []byte
	err := s.one1(ctx, "read the analysis of run "+run, "SELECT body FROM analyses WHERE run = ?", run, &body)
	return body, err
}

// SaveReport keeps a text that the printer printed, in place of the earlier one
// of its kind: the settings report taken at the last restart, for one.
func (s *Store) SaveReport(_ context.Context, kind, text string, at time.Time) error {
	return s.do("save report "+kind, func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT INTO reports (kind, text, at) VALUES (?, ?, ?) ON CONFLICT (kind) DO UPDATE SET text = excluded.text, at = excluded.at",
			kind, text, stamp(at))
		return err
	})
}

// Report returns the report of a kind and when it was taken; ErrNone if there
// is none.
func (s *Store) Report(ctx context.Context, kind string) (text string, at time.Time, err error) {
	var when string
	if err = s.one1(ctx, "read report "+kind, "SELECT text, at FROM reports WHERE kind = ?", kind, &text, &when); err != nil {
		return "", time.Time{}, err
	}
	at, err = unstamp(when)
	return text, at, err
}

// one1 reads one row with one argument; ErrNone if there is no such row.
func (s *Store) one1(ctx context.Context, act, query, arg string, into ...any) error {
	err := s.read.QueryRowContext(ctx, query, arg).Scan(into...)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNone
	}
	if err != nil {
		return fmt.Errorf("store: %s: %w", act, err)
	}
	return nil
}
