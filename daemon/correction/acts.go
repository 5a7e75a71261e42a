package correction

import (
	"context"

	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/store"
)

// Apply writes a signed-off table into the printer. It returns once the intent
// is kept; the rest goes on.
func (d *Correction) Apply(ctx context.Context, digest string, a api.Apply, _ string) error {
	t, run, err := d.Offered(ctx, digest)
	if err != nil {
		return err
	}
	person, err := d.o.Signer.Redeem(a.Token, digest)
	if err != nil {
		return api.Errorf(403, "token-bad", "approve it again", "apply: %v", err)
	}
	if err := d.stillGood(t, run); err != nil {
		return err
	}
	if d.Unfinished() {
		return api.Errorf(409, "owed", "Undo it, or finish it.", "apply: an earlier apply is unfinished")
	}
	j, err := d.o.Runs.Judged(run)
	if err != nil {
		return err
	}
	var under [][]int64
	if was := j.Run.Setup.Applied; was != nil {
		under = was.Add
	}
	return d.write(apply.Intent(t, run, person, under), person, change{"apply a table", func(ctx context.Context, w apply.Desk, a store.Applied) (store.Applied, error) {
		return a, w.Check(ctx, a)
	}, apply.Desk.Apply})
}

// Undo takes the correction out of the map: one that is in force, or where a write
// failed half way.
func (d *Correction) Undo(_ context.Context, by string) error {
	a := d.Now()
	if d.foreign(a) && (a.State == store.Kept || a.Half()) {
		return d.closed(a, by)
	}
	if d.Unfinished() || d.failedHalf() {
		return d.resolve(apply.TakeBack, by, "undo")
	}
	if a.Code == store.Damaged {
		return api.Errorf(409, a.Code, a.Hint, "undo: %s", a.Text)
	}
	if a.State != store.Kept {
		return api.Errorf(409, "not-applied", "Nothing is to be undone.", "undo: no correction is in force")
	}
	return d.write(a, by, change{what: "undo", do: apply.Desk.Undo})
}

// Resolve finishes or takes back what was left unfinished, takes back what failed half
// way, and puts back what a run switched off.
func (d *Correction) Resolve(_ context.Context, r api.Resolve, by string) error {
	c := apply.Choice(r.Choice)
	if c != apply.Finish && c != apply.TakeBack {
		return api.Errorf(422, "bad-value", `"finish" or "take-back"`, "resolve: no choice %q", r.Choice)
	}
	a := d.Now()
	if d.foreign(a) && a.Half() {
		if c == apply.TakeBack {
			return d.closed(a, by)
		}
		return api.Errorf(409, "printer-changed", "Undo it, which closes it, or connect its own printer.", "resolve: %s", printerOther)
	}
	if d.Unfinished() || d.failedHalf() && c == apply.TakeBack {
		return d.resolve(c, by, "resolve: "+r.Choice)
	}
	if len(d.o.Owed()) > 0 {
		return d.o.PutBack(by)
	}
	if d.failedHalf() {
		return api.Errorf(409, "wrong-state", "Undo it: undo.", "resolve: the printer did not take the new nodes; only the old map can be written back")
	}
	return api.Errorf(409, "wrong-state", "Nothing is to be done.", "resolve: nothing is unfinished or owed")
}

func (d *Correction) resolve(c apply.Choice, by, what string) error {
	return d.write(d.Now(), by, change{what: what, do: func(w apply.Desk, ctx context.Context, a store.Applied) (store.Applied, error) {
		return w.Resolve(ctx, a, c)
	}})
}
