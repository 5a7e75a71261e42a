package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"abbed/probe/record"
)

// State is the state of what we wrote to the printer.
type State string

// States of the journal. Writing is the intent: it is stored before the first
// node is written, and again before the first node of an undo.
const (
	Writing    State = "writing"
	Verifying  State = "verifying"
	Kept       State = "kept"
	PutBack    State = "put-back"
	Undone     State = "undone"
	Failed     State = "failed"
	Unfinished State = "unfinished"
)

// follows says which states may follow which; the empty state is an empty
// journal.
var follows = map[State][]State{
	"":         {Writing},
	Writing:    {Writing, Verifying, Kept, PutBack, Undone, Failed, Unfinished},
	Verifying:  {Writing, Verifying, Kept, PutBack, Undone, Failed, Unfinished},
	Kept:       {Writing, Kept, Undone, Unfinished},
	PutBack:    {Writing, PutBack},
	Undone:     {Writing, Undone, Unfinished},
	Failed:     {Writing, Failed, PutBack, Undone, Unfinished},
	Unfinished: {Writing, Verifying, Unfinished, Kept, PutBack, Undone, Failed},
}

// Open reports whether the state is one in which the printer may hold half of
// something: at the start the daemon shows it as unfinished.
func (s State) Open() bool { return s == Writing || s == Verifying || s == Unfinished }

// MapChanged is the code of an entry that ended because the map was measured anew or
// changed by somebody else: nothing of ours is in it any more.
const MapChanged = "map-changed"

// Half reports whether the map may still hold half of what the entry wrote: it is open,
// or it failed because the printer took neither the new nor the old nodes.
func (a Applied) Half() bool { return a.State.Open() || a.State == Failed && a.Code != MapChanged }

// Applied is an entry of the journal of what we wrote to the printer. It holds
// all that is needed to finish it or to take it back.
type Applied struct {
	// N counts the entries; SaveApplied sets it.
	N     int64 `json:"n"`
	State State `json:"state"`
	// Digest is the table's, Run where it came from, Parent the digest of the
	// table from which a re-applied one was made.
	Digest string `json:"digest"`
	Run    string `json:"run"`
	Parent string `json:"parent,omitempty"`
	// Person signed it off.
	Person string `json:"person"`
	// Printer is the printer's fingerprint.
	Printer string `json:"printer,omitempty"`
	// Before are the nodes of the stored map, Add what is added, um: rows along
	// J, columns along I.
	Before [][]int64    `json:"before"`
	Add    [][]int64    `json:"add"`
	Lever  record.Lever `json:"lever"`
	// Keep says that the printer is to keep it.
	Keep bool `json:"keep"`
	// Undo says that this writes Before back.
	Undo bool `json:"undo,omitempty"`
	// Proved says that the nozzle was gauged with it; Expired why it no longer
	// holds.
	Proved  bool   `json:"proved,omitempty"`
	Expired string `json:"expired,omitempty"`
	// Code, Text and Hint say what went wrong, or what to know.
	Code string    `json:"code,omitempty"`
	Text string    `json:"text,omitempty"`
	Hint string    `json:"hint,omitempty"`
	At   time.Time `json:"at"`
}

// SaveApplied appends an entry to the journal and returns its number. ErrOrder
// if its state cannot follow the last one.
func (s *Store) SaveApplied(_ context.Context, a Applied) (int64, error) {
	err := s.do("save what is applied", func(tx *sql.Tx) error {
		last, err := lastApplied(tx)
		if err != nil {
			return err
		}
		if err := a.fits(last.State); err != nil {
			return err
		}
		a.N, a.At = last.N+1, a.At.UTC()
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		_, err = tx.Exec("INSERT INTO applied (n, state, digest, body, sum) VALUES (?, ?, ?, ?, ?)",
			a.N, string(a.State), a.Digest, string(body), sum("applied", a.N, body))
		return err
	})
	return a.N, err
}

// lastApplied returns the last entry; the zero one if there is none.
func lastApplied(tx *sql.Tx) (a Applied, err error) {
	rows, err := tx.Query("SELECT n, body, sum FROM applied ORDER BY n DESC LIMIT 1")
	if err != nil {
		return a, err
	}
	defer rows.Close()
	if rows.Next() {
		if a, err = scanApplied(rows); err != nil {
			return a, err
		}
	}
	return a, rows.Err()
}

// fits reports whether the entry may follow state last.
func (a Applied) fits(last State) error {
	if !slices.Contains(follows[last], a.State) {
		return fmt.Errorf("%q after %q: %w", a.State, last, ErrOrder)
	}
	if a.Digest == "" || len(a.Before) == 0 || len(a.Before) != len(a.Add) {
		return fmt.Errorf("%q without digest, or with %d rows before and %d to add: %w", a.State, len(a.Before), len(a.Add), ErrOrder)
	}
	for j := range a.Before {
		if len(a.Before[j]) != len(a.Add[j]) || len(a.Before[j]) != len(a.Before[0]) {
			return fmt.Errorf("row %d has %d nodes before and %d to add: %w", j, len(a.Before[j]), len(a.Add[j]), ErrOrder)
		}
	}
	return nil
}

// Applied returns the last entry of the journal; false if there is none.
func (s *Store) Applied(ctx context.Context) (Applied, bool, error) {
	all, err := s.AppliedTail(ctx, 1)
	if err != nil || len(all) == 0 {
		return Applied{}, false, err
	}
	return all[0], true, nil
}

// AppliedTail returns the last entries of the journal, newest first.
func (s *Store) AppliedTail(ctx context.Context, most int) ([]Applied, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT n, body, sum FROM applied ORDER BY n DESC LIMIT ?", most)
	if err != nil {
		return nil, failed("read what is applied", err)
	}
	defer rows.Close()
	var out []Applied
	for rows.Next() {
		a, err := scanApplied(rows)
		if err != nil {
			return nil, failed("read what is applied", err)
		}
		out = append(out, a)
	}
	if err := rows.Err(); err != nil {
		return nil, failed("read what is applied", err)
	}
	return out, nil
}

func scanApplied(rows *sql.Rows) (Applied, error) {
	var a Applied
	var n, want int64
	var body string
	if err := rows.Scan(&n, &body, &want); err != nil {
		return a, err
	}
	if sum("applied", n, []byte(body)) != want {
		return a, fmt.Errorf("entry %d: %w: its checksum differs", n, ErrDamaged)
	}
	if err := json.Unmarshal([]byte(body), &a); err != nil {
		return a, fmt.Errorf("entry %d: %w", n, err)
	}
	return a, nil
}
