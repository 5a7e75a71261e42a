package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"abbed/analysis"
	"abbed/daemon/apply"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// recoverApplied reads the journal; what was in the middle is unfinished, and an entry
// whose nodes are not those of its digest is not acted on.
func (d *Daemon) recoverApplied(ctx context.Context) error {
	a, ok, err := d.store.Applied(ctx)
	if err != nil {
		return fmt.Errorf("daemon: read what is applied: %w", err)
	}
	if !ok {
		return nil
	}
	if d.applied, err = d.sound(ctx, a); err != nil {
		d.log.Error("the entry of the correction is not acted on", "digest", a.Digest, "err", err)
		d.applied = store.Applied{N: a.N, State: store.Failed, Digest: a.Digest, Run: a.Run, Person: a.Person, At: a.At,
			Code: store.Damaged, Text: "what abbed stored about the correction is damaged: " + err.Error(),
			Hint: "have the printer measure its bed map anew, which takes the correction out; then measure again"}
		return nil
	}
	if a.State == store.Writing || a.State == store.Verifying {
		a = d.applied
		a.State, a.At = store.Unfinished, time.Now()
		a.Code, a.Text = "interrupted", "the program was ended, or the power failed, while the stored map was being written"
		a.Hint = "finish it or take it back"
		n, err := d.store.SaveApplied(ctx, a)
		if err != nil && !errors.Is(err, store.ErrOrder) {
			return fmt.Errorf("daemon: keep what is unfinished: %w", err)
		}
		a.N = n
		d.applied = a
	}
	return nil
}

// sound returns an entry of the journal whose nodes are those of its digest; an entry of
// an earlier version with what it lacks. The map area, which is in the digest, is that
// of the table as it was offered.
func (d *Daemon) sound(ctx context.Context, a store.Applied) (store.Applied, error) {
	t, _, err := d.table(ctx, a.Digest)
	switch {
	case err != nil:
		return a, fmt.Errorf("its table cannot be read: %w", err)
	case t.Sum() != a.Digest:
		return a, errors.New("its table is not that of its digest")
	case !record.SameSize(a.Before, t.Befores()) || !record.SameSize(a.Add, a.Before) || a.Under != nil && !record.SameSize(a.Under, a.Before):
		return a, errors.New("its map has another size than its table")
	}
	want := apply.Intent(t, a.Run, a.Person, a.Under)
	if !sameNodes(a.Before, want.Before) || !sameNodes(a.Add, want.Add) || a.Lever != want.Lever || a.Printer != want.Printer || a.Parent != want.Parent {
		return a, errors.New("its nodes are not those of its digest")
	}
	if a.Origin == nil {
		a.Before, a.Add, a.Origin = d.lineage(ctx, t)
		if under := record.Plus(a.Add, t.Adds(), -1); !sameNodes(a.Add, t.Adds()) {
			a.Under = under
		}
	}
	return a, nil
}

// lineage follows a table to the tables that it stands on, which entries of earlier
// versions need: what others put into the map, all that was added to it, and the map
// that was first measured. A table that was made for the map with its parent in it adds
// to that; another was re-applied.
func (d *Daemon) lineage(ctx context.Context, t analysis.Table) (before, add, origin [][]int64) {
	before, add = t.Befores(), t.Adds()
	if t.Parent == "" {
		return before, add, before
	}
	p, _, err := d.table(ctx, t.Parent)
	if err != nil || p.Sum() != t.Parent || !record.SameSize(p.Befores(), before) {
		return before, add, before
	}
	was, under, origin := d.lineage(ctx, p)
	if sameNodes(before, record.Plus(was, under, 1)) {
		before, add = was, record.Plus(add, under, 1)
	}
	return before, add, origin
}

func sameNodes(a, b [][]int64) bool { return slices.EqualFunc(a, b, slices.Equal) }

// earlier returns the correction that was kept last, as it was then.
func (d *Daemon) earlier() (store.Applied, bool) {
	all, err := d.store.AppliedTail(context.Background(), journalTail)
	for _, a := range all {
		if a.State == store.Kept {
			a, err = d.sound(context.Background(), a)
			return a, err == nil
		}
	}
	if err != nil {
		d.log.Error("the journal cannot be read", "err", err)
	}
	return store.Applied{}, false
}

// saveApplied keeps a new entry of the journal, and learns it.
func (d *Daemon) saveApplied(a store.Applied) {
	n, err := d.store.SaveApplied(context.Background(), a)
	if err != nil {
		d.log.Error("what is applied cannot be kept", "err", err)
		return
	}
	a.N = n
	d.mu.Lock()
	d.applied = a
	d.mu.Unlock()
}
