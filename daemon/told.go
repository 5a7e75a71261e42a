package daemon

import (
	"context"
	"math"
	"time"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// told is what the runs that have ended tell, each matter by the latest run
// that tells it. Run ids sort by time.
type told struct {
	latest, steady, gauged *telling
}

// telling is a run that has ended, in the words of the API.
type telling struct {
	analysis.Judged
	analysis api.Analysis
}

// newer reports whether run id is later than what is told.
func (t *telling) newer(id string) bool { return t == nil || id >= t.Run.ID }

// learnRun takes what a run tells that has ended.
func (d *Daemon) learnRun(j analysis.Judged) {
	if len(j.Run.Touches) == 0 || j.Run.Proof != nil {
		return // a run that never began, or that gauged the correction and not the machine
	}
	t := &telling{j, results.Analysis(j.Run, j.Verdict)}
	d.mu.Lock()
	defer d.mu.Unlock()
	own := j.Run.For == "" // else its gaugings count in the earlier run
	if own && d.told.latest.newer(j.Run.ID) {
		d.told.latest = t
	}
	if t.analysis.Stability.Scatter != nil && j.Run.Did(record.StepRepeat) && d.told.steady.newer(j.Run.ID) {
		d.told.steady = t
	}
	if own && t.analysis.Largest != nil && d.told.gauged.newer(j.Run.ID) {
		d.told.gauged = t
	}
}

// forget has what was worked out from runs worked out anew.
func (d *Daemon) forget() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.inPrint, d.movement = inPrint{}, movement{}
}

// recalled is how many runs are looked through at the start, at most.
const recalled = 50

// recall learns from the runs of earlier days, newest first, what the board
// shows of them: how each step last ended, and what was found. A daemon that
// was just started is not one that never checked.
func (d *Daemon) recall(ctx context.Context) {
	rows, err := d.store.Runs(ctx)
	if err != nil {
		d.log.Error("the runs of earlier days cannot be read", "err", err)
		return
	}
	for _, row := range rows[:min(len(rows), recalled)] {
		if ctx.Err() != nil || d.complete() {
			break
		}
		if row.State == "" {
			continue // it goes on
		}
		if run, err := d.store.Load(ctx, row.ID); err == nil {
			d.recallRun(row, run)
		}
	}
	d.changed()
}

// complete reports whether there is nothing more to be recalled.
func (d *Daemon) complete() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.Recalled() && d.told.latest != nil && d.told.steady != nil && d.told.gauged != nil
}

func (d *Daemon) recallRun(row store.RunRow, run record.Run) {
	d.Recall(row, run)
	d.mu.Lock()
	need := d.told.latest == nil || d.told.steady == nil && run.Did(record.StepRepeat) || d.told.gauged == nil && len(run.Gaugings) > 0
	d.mu.Unlock()
	if need {
		d.learnRun(d.Judge(run))
	}
}

// showTold puts on a snapshot what the runs tell.
func (d *Daemon) showTold(s *status.Snapshot) {
	d.mu.Lock()
	t := d.told
	d.mu.Unlock()
	for _, of := range []**telling{&t.latest, &t.steady, &t.gauged} {
		if *of != nil && s.Printer.ID != "" && (*of).Run.Setup.Printer.ID != s.Printer.ID {
			*of = nil // it is of another printer that was at this port
		}
	}
	if t.latest != nil {
		s.Analysis = &t.latest.analysis
	}
	if t.steady != nil {
		s.Steady = &t.steady.analysis.Stability
	}
	if t.gauged == nil {
		return
	}
	s.Gauged = &t.gauged.analysis
	s.Tilt = t.gauged.Verdict.Rates(t.gauged.Run.Setup.Lever)
	g := t.gauged.analysis.Largest
	s.GapBefore = &status.Bound{Value: math.Abs(g.Value), Half: (g.Hi95 - g.Lo95) / 2}
}

// inPrint is what is known beside the journal of the correction that stands in
// the printer, and for which entry and gauged run that was worked out.
type inPrint struct {
	n      int64
	gauged string
	at     time.Time
	tilt   analysis.Rates
	after  *status.Bound
}

// showInPrint puts on a snapshot since when the correction in force stands,
// what it was made from, and what it leaves.
func (d *Daemon) showInPrint(s *status.Snapshot) {
	a := d.Correction.Now()
	d.mu.Lock()
	t, known := d.told.gauged, d.inPrint
	d.mu.Unlock()
	if a.State != store.Kept {
		return
	}
	gauged := ""
	if t != nil {
		gauged = t.Run.ID
	}
	if known.n != a.N || known.gauged != gauged {
		known = d.work(a, t)
		known.gauged = gauged
		d.mu.Lock()
		d.inPrint = known
		d.mu.Unlock()
	}
	s.AppliedAt, s.TiltApplied = known.at, known.tilt
	if s.Expiry == "" || s.Expiry == status.ExpiredTwist {
		s.GapAfter = known.after // else the map that is there is another
	}
}

// work works out what inPrint holds.
func (d *Daemon) work(a store.Applied, t *telling) inPrint {
	out := inPrint{n: a.N, at: d.KeptAt(a)}
	if j, err := d.Judged(a.Run); err == nil {
		out.tilt = j.Verdict.Rates(j.Run.Setup.Lever)
	}
	if t != nil {
		out.after = d.leaves(a, t.Judged)
	}
	return out
}

// leaves returns what a correction leaves of the gap error that a run found: the
// largest |g + addition| at its nodes in the gauged area.
func (d *Daemon) leaves(a store.Applied, j analysis.Judged) *status.Bound {
	t, _, err := d.Offered(context.Background(), a.Digest)
	if err != nil || j.Verdict.Gap == nil || t.Printer != j.Run.Setup.Printer.ID {
		return nil
	}
	var out *status.Bound
	for _, n := range t.Nodes {
		g, u95, why := j.Verdict.Gap.At(n.Place)
		if why != nil || math.IsNaN(g) || math.IsNaN(u95) {
			continue
		}
		left := math.Abs(g + float64(a.Add[n.J][n.I])/1000)
		if out == nil || left > out.Value || left == out.Value && u95 > out.Half {
			out = &status.Bound{Value: left, Half: u95}
		}
	}
	return out
}
