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

// Resolve finishes or takes back what the journal's open entry began. The nodes
// must hold their old or new values, but for a few; else the map was measured
// anew in between, and there is nothing of ours left to finish or to take back:
// the entry is closed as failed, the map is left as it is, and the error says so.
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
		return d.stageFailed(ctx, a, store.Failed, fail(nil, store.MapChanged,
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

// A node counts as written by us when it holds its old or new value to nearly,
// um: some printers round what they are given to 0.01 mm.
const nearly = 10

// mixed reports whether now is a half-written mixture of a and b: every node
// nearly holds its value of one of them, but for a quarter at most, which a
// printer may have refused, or a damaged line spoilt. A map that was measured
// anew and passes is so near to the old one that writing either over it is right.
func mixed(now, a, b [][]int64) bool {
	if !sameShape(now, a) {
		return false
	}
	nodes, strange := 0, 0
	for j := range now {
		for i, v := range now[j] {
			nodes++
			if apart(v, a[j][i]) > nearly && apart(v, b[j][i]) > nearly {
				strange++
			}
		}
	}
	return strange <= nodes/4
}

func apart(a, b int64) int64 { return max(a-b, b-a) }
