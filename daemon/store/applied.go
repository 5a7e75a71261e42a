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
	PutBack:    {Writing, PutBack, Kept}, // kept: the printer restarted with its earlier map
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

// Damaged is the code of an entry whose nodes are not those of its digest. It is not
// kept: it shows whenever the journal is read.
const Damaged = "journal-damaged"

// Half reports whether the map may still hold half of what the entry wrote: it is open,
// or it failed because the printer took neither the new nor the old nodes.
func (a Applied) Half() bool {
	return a.State.Open() || a.State == Failed && a.Code != MapChanged && a.Code != Damaged
}

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
	// Before are the nodes that others put into the printer's map, Add what is added,
	// um: rows along J, columns along I. Under is what of Add was in the map already,
	// from an earlier correction, when this one was written; nil for nothing.
	Before [][]int64 `json:"before"`
	Add    [][]int64 `json:"add"`
	Under  [][]int64 `json:"under,omitempty"`
	// Origin is the map that was first measured, when a person approved the
	// correction: a re-apply has another Before. Entries of earlier versions lack it.
	Origin [][]int64    `json:"origin,omitempty"`
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
	Code string `json:"code,omitempty"`
	Text string `json:"text,omitempty"`
	Hint string `json:"hint,omitempty"`
	// Says is what a person is to know of how it ended well.
	Says string    `json:"says,omitempty"`
	At   time.Time `json:"at"`
}

// Correction is what the entry is about: all that was added to what others put there.
func (a Applied) Correction() record.Applied {
	return record.Applied{Digest: a.Digest, Before: a.Before, Add: a.Add, Lever: a.Lever}
}

// Change is what the entry's own writing changes: Correction, but for an apply on top of
// an earlier correction, which adds to a map that has that one in it.
func (a Applied) Change() record.Applied {
	c := a.Correction()
	if !a.Undo && a.Under != nil {
		c.Before, c.Add = record.Plus(a.Before, a.Under, 1), record.Plus(a.Add, a.Under, -1)
	}
	return c
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
	all, err := collect(rows, err, scanApplied)
	if err != nil || len(all) == 0 {
		return a, err
	}
	return all[0], nil
}

// fits reports whether the entry may follow state last.
func (a Applied) fits(last State) error {
	if !slices.Contains(follows[last], a.State) {
		return fmt.Errorf("%q after %q: %w", a.State, last, ErrOrder)
	}
	if a.Digest == "" || len(a.Before) == 0 || a.Add == nil {
		return fmt.Errorf("%q without digest or nodes: %w", a.State, ErrOrder)
	}
	for _, g := range [][][]int64{a.Add, a.Under, a.Origin, slices.Repeat(a.Before[:1], len(a.Before))} {
		if g != nil && !record.SameSize(g, a.Before) {
			return fmt.Errorf("%q with grids of different sizes: %w", a.State, ErrOrder)
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
	out, err := collect(rows, err, scanApplied)
	if err != nil {
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
