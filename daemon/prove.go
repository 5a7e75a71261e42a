package daemon

import (
	"context"
	"time"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/refuse"
	"abbed/daemon/results"
	"abbed/daemon/store"
	"abbed/probe"
	"abbed/probe/record"
)

// Prove opens a run that gauges the nozzle with the correction in force, at the
// node with the most negative addition. It waits for a person's confirmation.
func (d *Daemon) Prove(ctx context.Context, by string) (api.Run, error) {
	d.starting.Lock()
	defer d.starting.Unlock()
	d.giveWay()
	if err := d.mayRun(); err != nil {
		return api.Run{}, err
	}
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
	if a.State != store.Kept {
		return api.Run{}, api.Errorf(409, "not-applied", "apply a table first", "prove: no table is applied")
	}
	l := d.link.Now()
	k := d.know(l.Facts)
	if k.Missing != "" {
		return api.Run{}, api.Errorf(409, "cannot", k.Missing, "prove: the machine is not known well enough")
	}
	proof, err := d.proofOf(ctx, a)
	if err != nil {
		return api.Run{}, err
	}
	log, err := store.NewLog(d.store, record.Opened{Steps: []record.Step{record.StepProve}, By: by, Setup: k.Setup, Proof: &proof}, d.clk.Now)
	if err != nil {
		return api.Run{}, refuse.Of(err)
	}
	run := newActive(log, d.changed)
	d.mu.Lock()
	d.active = run
	d.mu.Unlock()
	d.audit(by, "start a proof", a.Digest)
	d.changed()
	return run.show(), nil
}

// proofOf says where to gauge and what is to be found: with a right table in
// force the nozzle meets the bed everywhere at minus the level of the person's
// Z offset.
func (d *Daemon) proofOf(ctx context.Context, a store.Applied) (record.Proof, error) {
	t, _, err := d.table(ctx, a.Digest)
	if err != nil {
		return record.Proof{}, err
	}
	n, ok := t.Deepest(a.Add)
	if !ok {
		return record.Proof{}, api.Errorf(500, "internal", "see the log", "prove: the table has no nodes")
	}
	p := record.Proof{Digest: a.Digest, Place: n.Place, U95: float64(n.U95) / 1000}
	if j, err := d.Judged(a.Run); err == nil && j.Verdict.Level != nil {
		p.Predicted, p.PredictedU = -j.Verdict.Level.Value, j.Verdict.Level.U
		p.U95 += 2 * j.Verdict.Level.U
	}
	// The node must be where the nozzle can be.
	p.Place = d.know(d.link.Now().Facts).Setup.Reach.Nearest(p.Place)
	return p, nil
}

// learnProof keeps what a proof showed.
func (d *Daemon) learnProof(run record.Run) {
	if run.Proof == nil {
		return
	}
	shown, ok := probe.Proved(run)
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
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
