package daemon

import (
	"context"
	"fmt"
	"math"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/refuse"
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
	if j, err := d.judged(a.Run); err == nil && j.verdict.Level != nil {
		p.Predicted, p.PredictedU = -j.verdict.Level.Value, j.verdict.Level.U
		p.U95 += 2 * j.verdict.Level.U
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
			why, text, hint := notProved(run, shown)
			a.Text, a.Hint = text+": "+why, hint
		}
	}
	d.saveApplied(a)
}

// proofSays says how a proof ended.
func proofSays(run record.Run) string {
	shown, ok := probe.Proved(run)
	switch {
	case !ok:
		return "Nothing was recorded, so that nothing is proved or disproved."
	case shown.Proved:
		return fmt.Sprintf("Proved: with the correction in force the nozzle is %s at %s, within the tolerance of %.3f mm.",
			offBy(shown.Off, shown.U95), run.Proof.Place, run.Setup.Criteria.Tolerance)
	}
	why, text, hint := notProved(run, shown)
	return "Not proved: " + why + ". Gauged: " + text + ". Next: " + hint + "."
}

// notProved says why a proof failed, what it showed, and what to do.
func notProved(run record.Run, shown probe.Shown) (why, text, hint string) {
	tolerance := run.Setup.Criteria.Tolerance
	text = "with the correction in force the nozzle is " + offBy(shown.Off, shown.U95) + " at " + run.Proof.Place.String()
	if shown.Level != nil {
		text += ", and " + offBy(*shown.Level, shown.LevelU95) + " at the zero place, where it moves nothing"
	}
	switch {
	case math.Abs(shown.Off) <= tolerance:
		return "it is within the tolerance, but known too coarsely to prove anything", text, "prove it again with a feeler gauge, or record more often"
	case shown.Levelled:
		way := "higher"
		if *shown.Level > 0 {
			way = "lower"
		}
		return "the level has changed, not the tilt", text,
			fmt.Sprintf("let the printer warm up, set its Z offset %s (by %.3f ±%.3f mm), and prove it again", way, math.Abs(*shown.Level), shown.LevelU95)
	case math.Abs(shown.Off)-tolerance < shown.U95:
		return fmt.Sprintf("whether it is within the tolerance of %.3f mm the records do not tell", tolerance), text,
			"watch the first layer there; where it is wrong, undo the correction, then measure again"
	}
	return "the nozzle is not where it should be", text, "undo the correction, then measure again"
}

// offBy says how the nozzle lies that is off by so much, mm, with its doubt.
func offBy(off, u95 float64) string {
	way := "low"
	if off > 0 {
		way = "high"
	}
	return fmt.Sprintf("%.3f mm ±%.3f mm too %s", math.Abs(off), u95, way)
}
