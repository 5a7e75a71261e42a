package daemon

import (
	"context"
	"fmt"
	"math"
	"time"

	"abbed/config/say"
	"abbed/daemon/api"
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
	l := d.link.now()
	k := d.know(l.facts)
	if k.missing != "" {
		return api.Run{}, api.Errorf(409, "cannot", k.missing, "prove: the machine is not known well enough")
	}
	proof, err := d.proofOf(ctx, a)
	if err != nil {
		return api.Run{}, err
	}
	log, err := store.NewLog(d.store, record.Opened{Steps: []record.Step{record.StepProve}, By: by, Setup: k.setup, Proof: &proof}, d.clk.Now)
	if err != nil {
		return api.Run{}, refusal(err)
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
	if j, err := d.judged(a.Run); err == nil && j.verdict.Level != nil {
		p.Predicted, p.PredictedU = -j.verdict.Level.Value, j.verdict.Level.U
		p.U95 += 2 * j.verdict.Level.U
	}
	// The node must be where the nozzle can be.
	p.Place = d.know(d.link.now().facts).setup.Reach.Nearest(p.Place)
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
			why, text, hint := notProved(run, shown)
			a.Text, a.Hint = say.Sentence(why)+" "+text, hint
		}
	}
	d.saveApplied(a)
}

// proofSays says how a proof ended.
func proofSays(run record.Run) string {
	shown, ok := probe.Proved(run)
	switch {
	case !ok:
		return "No reading was taken, so the correction is not verified."
	case shown.Proved:
		return fmt.Sprintf("Verified. The nozzle is %s at %s.", say.Too(shown.Off), run.Proof.Place)
	}
	why, text, hint := notProved(run, shown)
	return "Not verified. " + say.Sentence(hint) + " " + say.Sentence(why) + " " + say.Sentence(text)
}

// notProved says why a proof failed, what it showed, and what to do.
func notProved(run record.Run, shown probe.Shown) (why, text, hint string) {
	tolerance := run.Setup.Criteria.Tolerance
	text = fmt.Sprintf("The nozzle is %s (%s) at %s", say.Too(shown.Off), say.PM(shown.U95), run.Proof.Place)
	if shown.Level != nil {
		text += fmt.Sprintf(", and %s at the zero point", say.Too(*shown.Level))
	}
	switch {
	case math.Abs(shown.Off) <= tolerance:
		return "It is within the tolerance, but not known well enough", text, "verify it again with a feeler gauge, and take more readings"
	case shown.Levelled:
		way := "higher"
		if *shown.Level > 0 {
			way = "lower"
		}
		return "The level changed, not the tilt", text,
			fmt.Sprintf("let the printer warm up, set its Z offset %s %s, and verify again", say.MM(math.Abs(*shown.Level)), way)
	case math.Abs(shown.Off)-tolerance < shown.U95:
		return fmt.Sprintf("The readings do not show whether it is within %s", say.MM(tolerance)), text,
			"watch the first layer there. If it is wrong, undo the correction and measure again"
	}
	return "The nozzle is not where it should be", text, "undo the correction, then measure again"
}
