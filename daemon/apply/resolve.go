package apply

import (
	"context"

	"abbed/daemon/store"
)

// Choice is what a person decides about something unfinished.
type Choice string

// Choices.
const (
	Finish   Choice = "finish"
	TakeBack Choice = "take-back"
)

// Resolve finishes or takes back what the journal's open entry began. Every node
// must hold either its old or its new value; else the map was measured anew in
// between, and there is nothing of ours left to finish or to take back: the
// entry is closed as failed, the map is left as it is, and the error says so.
func (d Desk) Resolve(ctx context.Context, a store.Applied, c Choice) (store.Applied, error) {
	after := plus(a.Before, a.Add)
	now, err := d.Read(ctx)
	if err == nil && !mixed(now, a.Before, after) {
		now, err = d.Read(ctx) // a print may be damaged on the way
	}
	if err != nil {
		return a, err
	}
	if !mixed(now, a.Before, after) {
		return d.stageFailed(ctx, a, store.Failed, fail(nil, "map-changed",
			"the map is left as it is; measure again before you print",
			"the stored map holds neither the old nor the new values: it was changed or measured anew"))
	}
	to, end := after, store.Kept
	back := c == TakeBack || a.Undo
	if back {
		to, end = a.Before, store.PutBack
	}
	if a.Undo {
		end = store.Undone
	}
	a, err = d.stage(ctx, a, store.Writing, nil)
	if err != nil {
		return a, err
	}
	a, err = d.through(ctx, a, now, to, end)
	if err == nil || lost(err) {
		return d.maybeOpen(ctx, a, err)
	}
	if back {
		return d.backAgain(ctx, a, end, err)
	}
	return d.putBack(ctx, a, err)
}

// mixed reports whether every node of now holds its value of a or of b.
func mixed(now, a, b [][]int64) bool {
	if !sameShape(now, a) {
		return false
	}
	for j := range now {
		for i, v := range now[j] {
			if v != a[j][i] && v != b[j][i] {
				return false
			}
		}
	}
	return true
}
