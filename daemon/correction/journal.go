package correction

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

// Recover reads the journal; what was in the middle is unfinished, and an entry
// whose nodes are not those of its digest is not acted on.
func (d *Correction) Recover(ctx context.Context) error {
	a, ok, err := d.o.Store.Applied(ctx)
	if err != nil {
		return fmt.Errorf("correction: read what is applied: %w", err)
	}
	if !ok {
		return nil
	}
	if d.applied, err = d.sound(ctx, a); err != nil {
		d.o.Log.Error("the entry of the correction is not acted on", "digest", a.Digest, "err", err)
		d.applied = store.Applied{N: a.N, State: store.Failed, Digest: a.Digest, Run: a.Run, Person: a.Person, At: a.At,
			Code: store.Damaged, Text: "what abbed stored about the correction is damaged: " + err.Error(),
			Hint: "have the printer measure its bed map again, which takes the correction out; then measure again"}
		return nil
	}
	if a.State == store.Writing || a.State == store.Verifying {
		a = d.applied
		a.State, a.At = store.Unfinished, time.Now()
		a.Code, a.Text = "interrupted", "the program was ended, or the power failed, while the bed map was being written"
		a.Hint = "finish it or undo it"
		n, err := d.o.Store.SaveApplied(ctx, a)
		if err != nil && !errors.Is(err, store.ErrOrder) {
			return fmt.Errorf("correction: keep what is unfinished: %w", err)
		}
		a.N = n
		d.applied = a
	}
	return nil
}

// sound returns an entry of the journal whose nodes are those of its digest, with what an
// entry of an earlier version lacks. The digest is over the table, its parent's digest
// with it: so what was in the map already (Under) and the map that was first measured
// (Origin) follow from the tables that this one stands on, and are compared like the rest;
// they are believed, within the limits of a correction, where a parent was dropped.
func (d *Correction) sound(ctx context.Context, a store.Applied) (store.Applied, error) {
	t, _, err := d.Offered(ctx, a.Digest)
	switch {
	case err != nil:
		return a, fmt.Errorf("its table cannot be read: %w", err)
	case t.Sum() != a.Digest:
		return a, errors.New("its table is not that of its digest")
	}
	want, whole := d.lineage(ctx, t)
	if whole && a.Origin == nil && sameNodes(a.Before, t.Befores()) && sameNodes(a.Add, t.Adds()) {
		a.Before, a.Add, a.Under, a.Origin = want.Before, want.Add, want.Under, want.Origin
	}
	switch {
	case whole:
	case a.Under != nil && !record.SameSize(a.Under, t.Befores()) || a.Origin != nil && !record.SameSize(a.Origin, t.Befores()):
		return a, errors.New("its map has another size than its table")
	default:
		origin := a.Origin
		want = apply.Intent(t, "", "", a.Under)
		if want.Origin = want.Before; origin != nil {
			want.Origin = origin
		}
	}
	if !sameNodes(a.Before, want.Before) || !sameNodes(a.Add, want.Add) || !sameNodes(a.Under, want.Under) || !sameNodes(a.Origin, want.Origin) ||
		a.Lever != want.Lever || a.Printer != want.Printer || a.Parent != want.Parent {
		return a, errors.New("its nodes are not those of its digest")
	}
	return a, nil
}

// lineage is the entry with which a table's apply began, by the tables that it stands on:
// one that adds what its parent adds in all was re-applied, another was made for the map
// with its parent in it. It is not whole where a parent is not there any more.
func (d *Correction) lineage(ctx context.Context, t analysis.Table) (a store.Applied, whole bool) {
	a = apply.Intent(t, "", "", nil)
	if t.Parent == "" {
		return a, true
	}
	p, _, err := d.Offered(ctx, t.Parent)
	if err != nil || p.Sum() != t.Parent || !record.SameSize(p.Befores(), a.Before) {
		return a, false
	}
	was, whole := d.lineage(ctx, p)
	if !sameNodes(a.Add, was.Add) {
		return apply.Intent(t, "", "", was.Add), whole
	}
	a.Origin = was.Origin
	return a, whole
}

func sameNodes(a, b [][]int64) bool { return slices.EqualFunc(a, b, slices.Equal) }

// earlier returns the correction that was kept last, as it was then.
func (d *Correction) earlier() (store.Applied, bool) {
	all, err := d.o.Store.AppliedTail(context.Background(), journalTail)
	for _, a := range all {
		if a.State == store.Kept {
			a, err = d.sound(context.Background(), a)
			return a, err == nil
		}
	}
	if err != nil {
		d.o.Log.Error("the journal cannot be read", "err", err)
	}
	return store.Applied{}, false
}

// saveApplied keeps a new entry of the journal, and learns it.
func (d *Correction) saveApplied(a store.Applied) {
	n, err := d.o.Store.SaveApplied(context.Background(), a)
	if err != nil {
		d.o.Log.Error("what is applied cannot be kept", "err", err)
		return
	}
	a.N = n
	d.mu.Lock()
	d.applied = a
	d.mu.Unlock()
}

// journalTail is how many entries of the journal are looked through for when a
// correction was written: each proof or expiry adds one.
const journalTail = 100

// KeptAt returns when the correction was first kept.
func (d *Correction) KeptAt(a store.Applied) time.Time {
	at := a.At
	all, err := d.o.Store.AppliedTail(context.Background(), journalTail)
	if err != nil {
		d.o.Log.Error("the journal cannot be read", "err", err)
	}
	for _, e := range all {
		if e.Digest != a.Digest || e.State != store.Kept {
			break
		}
		at = e.At
	}
	return at
}
