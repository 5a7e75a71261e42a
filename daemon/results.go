package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"math"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// verdicts remembers what the last few runs were judged to tell.
type verdicts struct {
	of    map[string]judged
	order []string
}

// judged is a run with its verdict, at the event numbered last.
type judged struct {
	last    int64
	run     record.Run
	verdict analysis.Verdict
}

// remembered is how many verdicts are kept in memory.
const remembered = 8

func (v *verdicts) get(id string, last int64) (judged, bool) {
	j, ok := v.of[id]
	return j, ok && j.last == last
}

func (v *verdicts) put(id string, j judged) {
	if v.of == nil {
		v.of = map[string]judged{}
	}
	if _, ok := v.of[id]; !ok {
		v.order = append(v.order, id)
	}
	v.of[id] = j
	if len(v.order) > remembered {
		delete(v.of, v.order[0])
		v.order = v.order[1:]
	}
}

// load returns a run: the live one, or from the store.
func (d *Daemon) load(id string) (record.Run, error) {
	// What was read after its end is in the store only.
	if a := d.current(); a != nil && a.log.ID() == id && !a.now().Over() {
		return a.log.Run(), nil
	}
	run, err := d.store.Load(context.Background(), id)
	switch {
	case errors.Is(err, store.ErrNone):
		return run, api.Errorf(404, "not-found", "GET runs lists them", "no run %q", id)
	case errors.Is(err, store.ErrDamaged) && run.Last > 0:
		d.log.Error("a run is shown as far as it can be trusted", "run", id, "err", err)
		return cutShort(run), nil
	case err != nil:
		return run, refuse.Store(err)
	}
	return run, nil
}

// cutShort is a run of which an event is not what was written: what comes before
// it stands, as of a run that failed there.
func cutShort(run record.Run) record.Run {
	run.Faults = append(run.Faults, record.Fault{Code: "store-damaged", Text: "an event of this run is not what was written: the run is shown up to there",
		Hint: "check the disk or the card; measure again"})
	run.Ended = &record.Ended{State: record.EndFailed}
	return run
}

// judge returns what a run tells; the verdict of a run as it stands is made
// once.
func (d *Daemon) judge(run record.Run) judged {
	d.mu.Lock()
	j, ok := d.verdicts.get(run.ID, run.Last)
	d.mu.Unlock()
	if ok {
		return j
	}
	j = judged{last: run.Last, run: run, verdict: analysis.Judge(run)}
	d.mu.Lock()
	d.verdicts.put(run.ID, j)
	d.mu.Unlock()
	return j
}

func (d *Daemon) judged(id string) (judged, error) {
	run, err := d.load(id)
	if err != nil {
		return judged{}, err
	}
	return d.judge(run), nil
}

// Runs lists all runs, newest first.
func (d *Daemon) Runs() ([]api.Run, error) {
	rows, err := d.store.Runs(context.Background())
	if err != nil {
		return nil, refuse.Store(err)
	}
	out := make([]api.Run, 0, len(rows))
	for _, row := range rows {
		r, err := d.Run(row.ID)
		if err != nil {
			d.log.Error("a run cannot be read", "run", row.ID, "err", err)
			r = api.Run{ID: row.ID, Began: row.Began, Steps: names(row.Steps), State: api.Failed, Step: string(record.StepPrepare),
				For: row.For, Later: d.madeFor(row.ID), Sentence: "The record of this run cannot be read.", Error: refuse.Of(err)}
		}
		out = append(out, r)
	}
	return out, nil
}

// Run returns one run.
func (d *Daemon) Run(id string) (api.Run, error) {
	r, err := d.runItself(id)
	if err == nil {
		r.Later = d.madeFor(id)
	}
	return r, err
}

// runItself is a run without what was made for it later.
func (d *Daemon) runItself(id string) (api.Run, error) {
	if a := d.current(); a != nil && a.log.ID() == id {
		return a.show(), nil
	}
	d.mu.Lock()
	r, known := d.ended[id]
	d.mu.Unlock()
	if known {
		return r, nil
	}
	run, err := d.load(id)
	if err != nil {
		return api.Run{}, err
	}
	r = shown(run)
	if run.Ended != nil {
		d.mu.Lock()
		d.ended[id] = r // it does not change any more
		d.mu.Unlock()
	}
	return r, nil
}

// Record returns the whole record of a run.
func (d *Daemon) Record(id string) (api.Record, error) {
	run, err := d.load(id)
	if err != nil {
		return nil, err
	}
	b, err := json.Marshal(run)
	if err != nil {
		return nil, api.Errorf(500, "internal", "see the log", "write the record of run %s: %v", id, err)
	}
	return b, nil
}

// Analysis returns what a run tells.
func (d *Daemon) Analysis(id string) (api.Analysis, error) {
	j, err := d.judged(id)
	if err != nil {
		return api.Analysis{}, err
	}
	return Analysis(j.run, j.verdict), nil
}

// Gap predicts the gap error at points.
func (d *Daemon) Gap(id string, a api.AskGap) ([]api.Gap, error) {
	j, err := d.judged(id)
	if err != nil {
		return nil, err
	}
	out := make([]api.Gap, len(a.Points))
	for i, p := range a.Points {
		out[i] = gapAt(j.verdict, record.Place{U: p[0], V: p[1]})
	}
	return out, nil
}

func gapAt(v analysis.Verdict, p record.Place) api.Gap {
	if v.Gap == nil {
		return api.Gap{Reason: why(v.GapWhy)}
	}
	if against := v.Contradicted(); against != nil {
		return api.Gap{Reason: why(against)}
	}
	g, u95, reason := v.Gap.At(p)
	if reason == nil && (math.IsNaN(g) || math.IsNaN(u95) || math.IsInf(g, 0) || math.IsInf(u95, 0)) {
		reason = &analysis.Reason{Text: "the fit gives no number here", Hint: "gauge more places"}
	}
	if reason != nil {
		return api.Gap{Reason: why(reason)}
	}
	return api.Gap{Gap: &g, U95: &u95}
}

func why(r *analysis.Reason) string {
	if r == nil {
		return "the gap error was not measured"
	}
	if r.Hint == "" {
		return r.Text
	}
	return r.Text + "; " + r.Hint
}

// Table returns the correction of a run, or why there is none.
func (d *Daemon) Table(id string) (api.Table, error) {
	j, err := d.judged(id)
	if err != nil {
		return api.Table{}, err
	}
	t, refused := j.verdict.Table(j.run)
	if refused == nil {
		if err := d.keepTable(t, id); err != nil {
			return api.Table{}, err
		}
	}
	out := Table(j.run, t, refused)
	if refused == nil {
		out.Keeps = d.keeps(j.run)
		out.Cautions = tableCautions(t, out.Keeps)
	}
	return out, nil
}

// keepTable keeps a table that is offered, so that it can be signed off by its
// digest.
func (d *Daemon) keepTable(t analysis.Table, run string) error {
	b, err := json.Marshal(t)
	if err == nil {
		err = d.store.SaveTable(context.Background(), t.Digest, run, b)
	}
	if err != nil {
		return refuse.Store(err)
	}
	return nil
}
