package probe

import (
	"context"
	"fmt"
	"math"

	"abbed/analysis"
	"abbed/probe/record"
)

// prove gauges the nozzle with the levelling on, coming from above, at the place
// with the most negative addition: there a wrong table would drive the nozzle
// into the bed first. What is recorded says whether the table is proved; see
// Proved.
func (j *job) prove(ctx context.Context) (err error) {
	run := j.log.Run()
	if run.Proof == nil {
		return fault(nil, "nothing-to-prove", "start the proof of an applied table", "prove: the run does not say what")
	}
	g := &gauging{job: j, blade: defaultBlade, alone: true, proof: run.Proof}
	if run.Confirmed != nil && run.Confirmed.Blade > 0 {
		g.blade = run.Confirmed.Blade
	}
	if err := j.begin(record.StepProve, g.records()); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.LevelFor(ctx, true); err != nil {
		return err
	}
	defer func() { g.release(err) }()
	if err := g.at(ctx, run.Proof.Place); err != nil {
		return err
	}
	if !j.setup.Levelling {
		return j.head.LevelFor(ctx, false)
	}
	return nil
}

// LevelFor switches the stored levelling for a proof, raised and homed; it is
// owed by nobody.
func (h *Head) LevelFor(ctx context.Context, on bool) error {
	if err := h.Raise(ctx); err != nil {
		return err
	}
	if _, err := h.ask(ctx, h.words.Settle(), "wait for moves"); err != nil {
		return err
	}
	if _, err := h.ask(ctx, h.words.Levelling(on), "switch levelling"); err != nil {
		return err
	}
	return h.believe(ctx)
}

// proving returns the approach to the place of a proof.
func proving(p record.Proof) approachTo {
	return approachTo{
		predicted: p.Predicted, arrival: p.Predicted + arriveAbove,
		floor: p.Predicted - floorBelow - p.U95, doubt: p.U95,
	}
}

// Proved tells from a run with the step prove whether the table is proved: the
// mean contact lies within the tolerance of the first layer of what was
// predicted, and is known better than that (a sheet of paper may not be enough).
// off is how far it lies, mm, + = the nozzle is too high; ok is false if nothing
// was recorded.
func Proved(run record.Run) (proved bool, off float64, ok bool) {
	if run.Proof == nil || len(run.Gaugings) == 0 {
		return false, 0, false
	}
	for _, g := range run.Gaugings {
		off += (run.Proof.Predicted - (g.Z - g.Blade)) / float64(len(run.Gaugings))
	}
	c := run.Setup.Criteria
	return math.Abs(off) <= c.Tolerance && proofDoubt(c, len(run.Gaugings)) <= c.Tolerance, off, true
}

// proofDoubt is the half width of the 95 % interval of the mean contact of a
// proof, mm: what its gaugings share, and what differs between them; k = 2 (both
// are expected beforehand, JCGM 100:2008, G.3.2).
func proofDoubt(c record.Criteria, records int) float64 {
	return 2 * math.Hypot(c.GaugeU, c.GaugeScatter/math.Sqrt(float64(records)))
}

// provingMost is how many records a proof asks for at most.
const provingMost = 6

// toProve returns how many records a proof needs so that its doubt is within the
// tolerance: one where no number does.
func toProve(c record.Criteria) int {
	for n := 1; n <= provingMost; n++ {
		if proofDoubt(c, n) <= c.Tolerance {
			return n
		}
	}
	return 1
}

// notProved is the cut of a proof that failed.
func notProved(p record.Proof, where string, by float64) record.Cut {
	return record.Cut{Finding: analysis.Undetermined, Code: "not-proved",
		Text: fmt.Sprintf("With the correction in force the bed at %s lies %s where it should be, by more than %s.", p.Place, where, mm(by)),
		Next: "Undo the correction, then measure again."}
}
