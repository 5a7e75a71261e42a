package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"time"

	"abbed/probe/record"
)

// castagnoli is the polynomial of the checksums (RFC 3720 B.4).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sum is the checksum of one row: its key and its content.
func sum(key string, n int64, body []byte) int64 {
	c := crc32.Update(0, castagnoli, fmt.Appendf(nil, "%s/%d/", key, n))
	return int64(crc32.Update(c, castagnoli, body))
}

// stamp writes a time so that texts sort as times do.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000Z") }

// unstamp reads what stamp wrote.
func unstamp(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339Nano, s)
	return t.UTC(), err
}

// Append stores events of a run, all or none; they are durable when it returns
// nil. The first event of a run is its Opened. Events that do not follow what
// is stored are refused with ErrOrder.
func (s *Store) Append(_ context.Context, run string, events ...record.Event) error {
	if len(events) == 0 {
		return nil
	}
	return s.do(fmt.Sprintf("append to run %s", run), func(tx *sql.Tx) error {
		var next int64
		if err := tx.Stmt(s.next).QueryRow(run).Scan(&next); err != nil {
			return err
		}
		for _, e := range events {
			if err := s.add(tx, run, e, next); err != nil {
				return err
			}
			next++
		}
		return nil
	})
}

// add stores one event, which has to be the next of its run.
func (s *Store) add(tx *sql.Tx, run string, e record.Event, next int64) error {
	if e.N != next {
		return fmt.Errorf("event %d where %d comes next: %w", e.N, next, ErrOrder)
	}
	if (e.Opened != nil) != (e.N == 1) || e.Opened != nil && e.Opened.ID != run {
		return fmt.Errorf("event %d: a run begins with its own opening, and only there: %w", e.N, ErrOrder)
	}
	if e.Opened != nil {
		var dropped int
		if err := tx.QueryRow("SELECT count(*) FROM dropped WHERE run = ?", run).Scan(&dropped); err != nil {
			return err
		}
		if dropped > 0 {
			return fmt.Errorf("the run was dropped before: %w", ErrOrder)
		}
		steps, err := json.Marshal(e.Opened.Steps)
		if err != nil {
			return err
		}
		if _, err := tx.Exec("INSERT INTO runs (id, began, steps, sum) VALUES (?, ?, ?, ?)", run, stamp(e.Wall), string(steps),
			rowSum("runs", run, stamp(e.Wall), string(steps))); err != nil {
			return err
		}
	}
	body, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("event %d: %w", e.N, err)
	}
	_, err = tx.Stmt(s.insert).Exec(run, e.N, kind(e), string(body), sum(run, e.N, body))
	return err
}

// kind names the body of an event.
func kind(e record.Event) string {
	for _, k := range []struct {
		name  string
		there bool
	}{
		{"touch", e.Touch != nil}, {"pressed", e.Pressed != nil}, {"opened", e.Opened != nil},
		{"confirmed", e.Confirmed != nil}, {"began", e.Began != nil}, {"arrived", e.Arrived != nil},
		{"gauging", e.Gauging != nil}, {"forgot", e.Forgot != nil}, {"map", e.Map != nil},
		{"settings", e.Settings != nil}, {"question", e.Question != nil}, {"answer", e.Answer != nil},
		{"joined", e.Joined != nil}, {"switched", e.Switched != nil}, {"cut", e.Cut != nil}, {"note", e.Note != nil},
		{"fault", e.Fault != nil}, {"ended", e.Ended != nil},
	} {
		if k.there {
			return k.name
		}
	}
	return "other"
}

// Events returns the events of a run after number after, in order; none for a
// run that is not there. An event that is not what was written gives
// ErrDamaged together with the events before it.
func (s *Store) Events(ctx context.Context, run string, after int64) ([]record.Event, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT n, body, sum FROM events WHERE run = ? AND n > ? ORDER BY n", run, after)
	out, err := collect(rows, err, func(rows *sql.Rows) (e record.Event, err error) {
		var n, want int64
		var body string
		if err = rows.Scan(&n, &body, &want); err != nil {
			return e, err
		}
		if sum(run, n, []byte(body)) != want {
			return e, fmt.Errorf("event %d: %w: its checksum differs", n, ErrDamaged)
		}
		if e, err = record.Decode([]byte(body)); err != nil {
			err = fmt.Errorf("event %d: %w", n, err)
		}
		return e, err
	})
	return out, failed("read run "+run, err)
}

// Load returns a run: the fold of its events. ErrNone if it is not there. With
// ErrDamaged comes the run as far as it can be trusted.
func (s *Store) Load(ctx context.Context, run string) (record.Run, error) {
	events, err := s.Events(ctx, run, 0)
	if err != nil && !errors.Is(err, ErrDamaged) {
		return record.Run{}, err
	}
	if len(events) == 0 {
		if err == nil {
			err = fmt.Errorf("store: read run %s: %w", run, ErrNone)
		}
		return record.Run{}, err
	}
	r, foldErr := record.Fold(events)
	if errors.Is(foldErr, record.ErrBounds) {
		foldErr = fmt.Errorf("store: read run %.100s: %w: %w", run, ErrDamaged, foldErr)
	}
	return r, errors.Join(err, foldErr)
}

// RunRow is a run in the list of runs.
type RunRow struct {
	ID    string
	Steps []record.Step
	// For is the earlier run that it was made for, "" for none.
	For   string
	Began time.Time
	// Ended is zero and State empty for a run that was never ended: it goes on,
	// or the program was killed in its middle. What was read or joined after its end
	// stands behind that, and changes nothing of it.
	Ended time.Time
	State record.End
	// Last is the number of the last event that is durable.
	Last int64
	// Damaged says that the first or the last event is not what was written: what
	// it told is missing here.
	Damaged bool
}

// Runs lists all runs, newest first.
func (s *Store) Runs(ctx context.Context) ([]RunRow, error) {
	rows, err := s.read.QueryContext(ctx, `
SELECT r.id, f.body, f.sum, e.n, e.body, e.sum FROM runs r
JOIN events f ON f.run = r.id AND f.n = 1
JOIN events e ON e.run = r.id AND e.n = (SELECT max(n) FROM events WHERE run = r.id)
ORDER BY r.id DESC`)
	out, err := collect(rows, err, scanRun)
	if err != nil {
		return nil, failed("list runs", err)
	}
	for i := range out {
		if out[i].State != "" {
			continue
		}
		if err := s.findEnd(ctx, &out[i]); err != nil {
			return nil, failed("list runs", err)
		}
	}
	return out, nil
}

// scanRun reads a run off its first and its last event, which carry checksums.
func scanRun(rows *sql.Rows) (RunRow, error) {
	var row RunRow
	var first, last string
	var firstSum, lastSum int64
	if err := rows.Scan(&row.ID, &first, &firstSum, &row.Last, &last, &lastSum); err != nil {
		return row, err
	}
	if e, err := record.Decode([]byte(first)); err == nil && e.Opened != nil && sum(row.ID, 1, []byte(first)) == firstSum {
		row.Began, row.Steps, row.For = e.Wall, e.Opened.Steps, e.Opened.For
	} else {
		row.Damaged = true
	}
	row.Damaged = !row.ended(row.Last, last, lastSum) || row.Damaged
	return row, nil
}

// ended takes the end of the run off one of its events, if that is it; false if the
// event is not what was written.
func (r *RunRow) ended(n int64, body string, want int64) bool {
	e, err := record.Decode([]byte(body))
	if err != nil || sum(r.ID, n, []byte(body)) != want {
		return false
	}
	if e.Ended != nil {
		r.Ended, r.State = e.Wall, e.Ended.State
	}
	return true
}

// findEnd looks for the end of a run of which the last event is something else: what
// was read or joined after its end stands behind that.
func (s *Store) findEnd(ctx context.Context, r *RunRow) error {
	var n, want int64
	var body string
	err := s.read.QueryRowContext(ctx, "SELECT n, body, sum FROM events WHERE run = ? AND kind = 'ended' ORDER BY n DESC LIMIT 1", r.ID).Scan(&n, &body, &want)
	if err == nil && !r.ended(n, body, want) {
		r.Damaged = true
	}
	if errors.Is(err, sql.ErrNoRows) {
		return nil // it goes on, or the program was killed in its middle
	}
	return err
}
