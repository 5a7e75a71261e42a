package results

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"slices"
	"sync"

	"abbed/analysis"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Shelf is every run, with what it tells: the one that goes on, and those that the store
// keeps. What was worked out from a run as it stands is worked out once.
type Shelf struct {
	store    *store.Store
	log      *slog.Logger
	now      Now
	mu       sync.Mutex
	verdicts verdicts
	ended    map[string]api.Run  // runs that are over, as they are shown
	chapters map[string]chapter  // of the history, by run
	laterOf  map[string][]string // the runs made for an earlier one, by that
}

// Now is what a Shelf is told of the present.
type Now struct {
	// Run is the run that goes on, Shown how it is shown, also when it is over; false if
	// it is another.
	Run   func(id string) (record.Run, bool)
	Shown func(id string) (api.Run, bool)
	// Printer is the identity of the printer that answered; "" without one.
	Printer func() string
	Owner   func() config.Settings
	// InForce says that a correction stands in the printer's map.
	InForce func() bool
}

// New returns a shelf over a store.
func New(s *store.Store, log *slog.Logger, now Now) *Shelf {
	return &Shelf{store: s, log: log, now: now, ended: map[string]api.Run{}}
}

// verdicts remembers what the last few runs were analysis.Judged to tell.
type verdicts struct {
	of    map[string]analysis.Judged
	order []string
}

// remembered is how many verdicts are kept in memory.
const remembered = 8

func (v *verdicts) get(id string, last int64) (analysis.Judged, bool) {
	j, ok := v.of[id]
	return j, ok && j.Run.Last == last
}

func (v *verdicts) put(id string, j analysis.Judged) {
	if v.of == nil {
		v.of = map[string]analysis.Judged{}
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

// Load returns a run: the live one, or from the store.
func (s *Shelf) Load(id string) (record.Run, error) {
	// What was read after its end is in the store only.
	if run, ok := s.now.Run(id); ok {
		return run, nil
	}
	run, err := s.store.Load(context.Background(), id)
	switch {
	case errors.Is(err, store.ErrNone):
		return run, api.Errorf(404, "not-found", "GET runs lists them", "no run %q", id)
	case errors.Is(err, store.ErrDamaged) && run.Last > 0:
		s.log.Error("a run is shown as far as it can be trusted", "run", id, "err", err)
		return cutShort(run), nil
	case err != nil:
		return run, refuse.Store(err)
	}
	return run, nil
}

// cutShort is a run of which an event is not what was written: what comes before
// it stands, as of a run that failed there.
func cutShort(run record.Run) record.Run {
	run.Faults = append(run.Faults, record.Problem{Code: "store-damaged", Text: "an event of this run is not what was written: the run is shown up to there",
		Hint: "check the disk or the card; measure again"})
	run.Ended = &record.Ended{State: record.EndFailed}
	return run
}

// Judge returns what a run tells; the verdict of a run as it stands is made
// once.
func (s *Shelf) Judge(run record.Run) analysis.Judged {
	s.mu.Lock()
	j, ok := s.verdicts.get(run.ID, run.Last)
	s.mu.Unlock()
	if ok {
		return j
	}
	j = analysis.Judged{Run: run, Verdict: analysis.Judge(run)}
	s.mu.Lock()
	s.verdicts.put(run.ID, j)
	s.mu.Unlock()
	return j
}

// Judged returns a run with what it tells.
func (s *Shelf) Judged(id string) (analysis.Judged, error) {
	run, err := s.Load(id)
	if err != nil {
		return analysis.Judged{}, err
	}
	return s.Judge(run), nil
}

// Runs lists all runs, newest first.
func (s *Shelf) Runs() ([]api.Run, error) {
	rows, err := s.store.Runs(context.Background())
	if err != nil {
		return nil, refuse.Store(err)
	}
	out := make([]api.Run, 0, len(rows))
	for _, row := range rows {
		r, err := s.Run(row.ID)
		if err != nil {
			s.log.Error("a run cannot be read", "run", row.ID, "err", err)
			r = api.Run{ID: row.ID, Began: row.Began, Steps: names(row.Steps), State: api.Failed, Step: string(record.StepPrepare),
				For: row.For, Later: s.MadeFor(row.ID), Sentence: "The record of this run cannot be read.", Error: refuse.Of(err)}
		}
		out = append(out, r)
	}
	return out, nil
}

// Run returns one run.
func (s *Shelf) Run(id string) (api.Run, error) {
	r, err := s.runItself(id)
	if err == nil {
		r.Later = s.MadeFor(id)
	}
	return r, err
}

// runItself is a run without what was made for it later.
func (s *Shelf) runItself(id string) (api.Run, error) {
	if r, ok := s.now.Shown(id); ok {
		return r, nil
	}
	s.mu.Lock()
	r, known := s.ended[id]
	s.mu.Unlock()
	if known {
		return r, nil
	}
	run, err := s.Load(id)
	if err != nil {
		return api.Run{}, err
	}
	r = Shown(run)
	if run.Ended != nil {
		s.mu.Lock()
		s.ended[id] = r // it does not change any more
		s.mu.Unlock()
	}
	return r, nil
}

// Record returns the whole record of a run.
func (s *Shelf) Record(id string) (api.Record, error) {
	run, err := s.Load(id)
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
func (s *Shelf) Analysis(id string) (api.Analysis, error) {
	j, err := s.Judged(id)
	if err != nil {
		return api.Analysis{}, err
	}
	return Analysis(j.Run, j.Verdict), nil
}

// Gap predicts the gap error at points.
func (s *Shelf) Gap(id string, a api.AskGap) ([]api.Gap, error) {
	j, err := s.Judged(id)
	if err != nil {
		return nil, err
	}
	out := make([]api.Gap, len(a.Points))
	for i, p := range a.Points {
		out[i] = gapAt(j.Verdict, record.Place{U: p[0], V: p[1]})
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
		reason = &record.Problem{Text: "the fit gives no number here", Hint: "gauge more places"}
	}
	if reason != nil {
		return api.Gap{Reason: why(reason)}
	}
	return api.Gap{Gap: &g, U95: &u95}
}

func why(r *record.Problem) string {
	if r == nil {
		return "the nozzle error was not measured"
	}
	if r.Hint == "" {
		return r.Text
	}
	return r.Text + "; " + r.Hint
}

// NoteFor notes that a run was made for an earlier one, "" for none.
func (s *Shelf) NoteFor(id, earlier string) {
	if earlier == "" {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.laterOf == nil {
		s.laterOf = map[string][]string{}
	}
	s.laterOf[earlier] = append(s.laterOf[earlier], id)
}

// MadeFor are the kept runs that were made for an earlier one, the earliest first.
func (s *Shelf) MadeFor(id string) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.laterOf[id])
}

// Drop forgets a run that is not kept any more.
func (s *Shelf) Drop(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.ended, id)
	for earlier, later := range s.laterOf {
		s.laterOf[earlier] = slices.DeleteFunc(later, func(l string) bool { return l == id })
	}
}

// Forget forgets what was worked out from a run before something was added to it.
func (s *Shelf) Forget(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.ended, id)
	s.chapters = nil
}
