package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// Keep bounds what is kept: Days of age (0: for ever) and Bytes in the file
// (0: any number).
type Keep struct {
	Days  int
	Bytes int64
}

// Usage returns how many bytes of the file are in use. What is dropped makes
// room inside the file; the file itself does not shrink, which would wear a
// card for nothing.
func (s *Store) Usage(ctx context.Context) (int64, error) {
	var n int64
	err := s.read.QueryRowContext(ctx, `SELECT (p.page_count - f.freelist_count) * z.page_size
FROM pragma_page_count p, pragma_freelist_count f, pragma_page_size z`).Scan(&n)
	if err != nil {
		return 0, failed("measure the file", err)
	}
	return n, nil
}

// Due lists the runs that fall to Keep at time at, oldest first. Asked for a
// time to come it is the warning before anything is dropped. The run of what is
// applied last never falls, nor one that is younger than a day.
func (s *Store) Due(ctx context.Context, k Keep, at time.Time) ([]RunRow, error) {
	rows, err := s.Runs(ctx)
	if err != nil {
		return nil, err
	}
	used, err := s.Usage(ctx)
	if err != nil {
		return nil, err
	}
	a, _, err := s.Applied(ctx)
	if err != nil {
		return nil, err
	}
	var due []RunRow
	for i := len(rows) - 1; i >= 0; i-- {
		r := rows[i]
		age := at.Sub(r.Began)
		old := k.Days > 0 && age > time.Duration(k.Days)*24*time.Hour
		large := k.Bytes > 0 && used > k.Bytes
		if r.ID == a.Run || age < 24*time.Hour || !old && !large {
			continue
		}
		size, err := s.size(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		used -= size
		due = append(due, r)
	}
	return due, nil
}

// size returns about how many bytes a run takes.
func (s *Store) size(ctx context.Context, run string) (int64, error) {
	var n int64
	err := s.read.QueryRowContext(ctx, `SELECT
	(SELECT coalesce(sum(length(body)), 0) FROM events WHERE run = ?1) +
	(SELECT coalesce(sum(length(body)), 0) FROM tables WHERE run = ?1) +
	(SELECT coalesce(sum(length(body)), 0) FROM analyses WHERE run = ?1)`, run).Scan(&n)
	if err != nil {
		return 0, failed("measure run "+run, err)
	}
	return n, nil
}

// Drop removes a run with its events, tables and analysis, and leaves a note of
// when and why. ErrNone if there is no such run; ErrOrder for the run of what
// is applied last, whose table an undo may still need.
func (s *Store) Drop(_ context.Context, run, why string) error {
	return s.do("drop run "+run, func(tx *sql.Tx) error {
		var there, inForce int
		err := tx.QueryRow("SELECT count(*) FROM runs WHERE id = ?", run).Scan(&there)
		if err != nil {
			return err
		}
		if there == 0 {
			return ErrNone
		}
		err = tx.QueryRow("SELECT count(*) FROM applied WHERE n = (SELECT max(n) FROM applied) AND json_extract(body, '$.run') = ?", run).Scan(&inForce)
		if err != nil {
			return err
		}
		if inForce > 0 {
			return fmt.Errorf("its table is the last that was applied: %w", ErrOrder)
		}
		if _, err := tx.Exec("INSERT INTO dropped (run, why, at) VALUES (?, ?, ?)", run, why, stamp(time.Now())); err != nil {
			return err
		}
		for _, q := range []string{
			"DELETE FROM events WHERE run = ?", "DELETE FROM tables WHERE run = ?",
			"DELETE FROM analyses WHERE run = ?", "DELETE FROM runs WHERE id = ?",
		} {
			if _, err := tx.Exec(q, run); err != nil {
				return err
			}
		}
		return nil
	})
}

// Backup writes a whole, checked copy of the store to a new file (mode 0600),
// while everything goes on. It can be opened in place of abbed.db.
func (s *Store) Backup(ctx context.Context, file string) error {
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return failed("back up", err)
	}
	if err = s.copyTo(ctx, file); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(failed("back up to "+file, err), os.Remove(file))
	}
	return nil
}

// copyTo copies over a connection of its own: the reader's may write nothing,
// and the writer is not to wait.
func (s *Store) copyTo(ctx context.Context, file string) error {
	abs, err := filepath.Abs(file)
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite", dsn(s.path(), false))
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", abs)
	return errors.Join(err, db.Close())
}
