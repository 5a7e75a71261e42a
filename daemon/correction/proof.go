package correction

import (
	"context"
	"time"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/daemon/store"
	"abbed/probe"
	"abbed/probe/record"
)

// ProofOf says where to gauge and what is to be found: with a right table in
// force the nozzle meets the bed everywhere at minus the level of the person's
// Z offset.
func (d *Correction) ProofOf(ctx context.Context, a store.Applied) (record.Proof, error) {
	t, _, err := d.Offered(ctx, a.Digest)
	if err != nil {
		return record.Proof{}, err
	}
	n, ok := t.Deepest(a.Add)
	if !ok {
		return record.Proof{}, api.Errorf(500, "internal", "see the log", "verify: the table has no nodes")
	}
	p := record.Proof{Digest: a.Digest, Place: n.Place, U95: float64(n.U95) / 1000}
	if j, err := d.o.Runs.Judged(a.Run); err == nil && j.Verdict.Level != nil {
		p.Predicted, p.PredictedU = -j.Verdict.Level.Value, j.Verdict.Level.U
		p.U95 += 2 * j.Verdict.Level.U
	} else {
		p.LevelOpen, p.U95 = true, p.U95+levelMost
	}
	// The node must be where the nozzle can be.
	p.Place = d.o.Known(d.o.Link.Now().Facts).Setup.Reach.Nearest(p.Place)
	return p, nil
}

// levelMost is how far a Z offset may be off that nobody gauged, mm (common practice, no
// source).
const levelMost = 0.2

// learnProof keeps what a proof showed.
func (d *Correction) learnProof(run record.Run) {
	if run.Proof == nil {
		return
	}
	shown, ok := probe.Proved(run)
	a := d.Now()
	if !ok && run.Cut == nil || a.State != store.Kept || a.Digest != run.Proof.Digest {
		return
	}
	a.At, a.Proved = time.Now(), shown.Proved
	a.Code, a.Text, a.Hint = "", "", ""
	if !shown.Proved {
		a.Code = "not-proved"
		if run.Cut != nil {
			a.Text, a.Hint = run.Cut.Text, "undo the correction, then measure again"
		} else {
			why, text, hint := results.NotProved(run, shown)
			a.Text, a.Hint = say.Sentence(why)+" "+text, hint
		}
	}
	d.saveApplied(a)
}
