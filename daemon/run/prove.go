package run

import (
	"context"

	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Prove opens a run that gauges the nozzle with the correction in force, at the
// node with the most negative addition. It waits for a person's confirmation.
func (d *Runner) Prove(ctx context.Context, by string) (api.Run, error) {
	d.starting.Lock()
	defer d.starting.Unlock()
	d.giveWay()
	if err := d.mayRun(); err != nil {
		return api.Run{}, err
	}
	a := d.corr.Now()
	if a.State != store.Kept {
		return api.Run{}, api.Errorf(409, "not-applied", "apply a table first", "verify: no table is applied")
	}
	if why := d.corr.Applied().Expired; why != nil && d.corr.Expiry() != status.ExpiredTwist && d.corr.Expiry() != status.ExpiredLever {
		return api.Run{}, api.Errorf(409, "expired", "Undo the correction, or apply it again.", "verify: %s", *why) // it is not in the map
	}
	l := d.link.Now()
	k := d.o.Known(l.Facts)
	if k.Missing != "" {
		return api.Run{}, api.Errorf(409, "cannot", k.Missing, "verify: the machine is not known well enough")
	}
	proof, err := d.corr.ProofOf(ctx, a)
	if err != nil {
		return api.Run{}, err
	}
	run, err := d.open(record.Opened{Steps: []record.Step{record.StepProve}, By: by, Setup: k.Setup, Proof: &proof}, func(*active) {})
	if err != nil {
		return api.Run{}, err
	}
	d.o.Audit(by, "start a proof", a.Digest)
	d.o.Changed()
	return run.show(), nil
}
