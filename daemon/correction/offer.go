package correction

import (
	"context"
	"encoding/json"
	"errors"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
)

// SignOff takes a person's confirmation of each caution for one exact table and
// returns a token for it. The printer is asked anew what it would keep: where
// that is not what was shown, the caution about it is another, and is missing.
func (d *Correction) SignOff(ctx context.Context, digest string, s api.SignOff) (api.SignedOff, error) {
	t, run, err := d.Offered(ctx, digest)
	if err != nil {
		return api.SignedOff{}, err
	}
	if s.Person == "" {
		return api.SignedOff{}, api.Errorf(422, "bad-value", "say who approves", "approve: no person is named")
	}
	j, err := d.o.Runs.Judged(run)
	if err != nil {
		return api.SignedOff{}, err
	}
	if m := refuse.Unconfirmed(tableCautions(t, d.keeps(j.Run)), s.Cautions); len(m) > 0 {
		return api.SignedOff{}, refuse.CautionsMissing(m)
	}
	if err := d.stillGood(t, run); err != nil {
		return api.SignedOff{}, err
	}
	if err := d.askKeeps(ctx); err != nil {
		return api.SignedOff{}, err
	}
	if m := refuse.Unconfirmed(tableCautions(t, d.keeps(j.Run)), s.Cautions); len(m) > 0 {
		return api.SignedOff{}, keepsOther(m)
	}
	token, expires := d.o.Signer.Issue(digest, s.Person)
	d.o.Audit(s.Person, "approve a table", digest)
	return api.SignedOff{Token: token, Expires: expires}, nil
}

// Table returns the correction of a run, or why there is none.
func (d *Correction) Table(id string) (api.Table, error) {
	j, err := d.o.Runs.Judged(id)
	if err != nil {
		return api.Table{}, err
	}
	t, refused := j.Verdict.Table(j.Run)
	if refused == nil {
		if err := d.keepTable(t, id); err != nil {
			return api.Table{}, err
		}
	}
	out := Table(j.Run, t, refused)
	if refused == nil {
		out.Keeps = d.keeps(j.Run)
		out.Cautions = tableCautions(t, out.Keeps)
	}
	return out, nil
}

// keepTable keeps a table that is offered, so that it can be signed off by its
// digest.
func (d *Correction) keepTable(t analysis.Table, run string) error {
	b, err := json.Marshal(t)
	if err == nil {
		err = d.o.Store.SaveTable(context.Background(), t.Digest, run, b)
	}
	if err != nil {
		return refuse.Store(err)
	}
	return nil
}

// Offered returns a table that was offered.
func (d *Correction) Offered(ctx context.Context, digest string) (analysis.Table, string, error) {
	var t analysis.Table
	run, b, err := d.o.Store.Table(ctx, digest)
	if errors.Is(err, store.ErrNone) {
		return t, "", api.Errorf(404, "not-found", "GET runs/{id}/table gives the digest", "no table %q was offered", digest)
	}
	if err == nil {
		err = json.Unmarshal(b, &t)
	}
	if err != nil {
		return t, "", refuse.Store(err)
	}
	return t, run, nil
}

// stillGood returns why a table that was offered is offered no more: its run no
// longer supports it, or the printer or its lever is another.
func (d *Correction) stillGood(t analysis.Table, run string) error {
	j, err := d.o.Runs.Judged(run)
	if err != nil {
		return err
	}
	if now, refused := j.Verdict.Table(j.Run); refused != nil || now.Digest != t.Digest {
		return api.Errorf(409, "table-refused", "look at the run's table again", "the run does not support this table any more")
	}
	l := d.o.Link.Now()
	if l.Facts == nil {
		return d.o.Link.Unready()
	}
	k := d.o.Known(l.Facts)
	if k.Setup.Printer.ID != t.Printer || k.Setup.Lever != t.Lever {
		return api.Errorf(409, "printer-changed", "measure again", "the table was made for another printer, or for another lever")
	}
	return nil
}
