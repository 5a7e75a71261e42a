package results

import (
	"context"
	"fmt"
	"strings"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/analysis/steady"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// shownBack is how many runs the history goes back at most: each has to be judged
// once, and is remembered.
const shownBack = 50

// chapter is what one run adds to the history, worked out against the run before
// it. Ended runs do not change, so that it is worked out once.
type chapter struct {
	against string // "" for the first
	printer string
	tells   bool // an angle of the head
	entry   api.Entry
}

// History lists the runs of the present printer that tell anything of its head.
// Without a printer it is that of the latest run.
func (s *Shelf) History() (api.History, error) {
	rows, err := s.store.Runs(context.Background())
	if err != nil {
		return api.History{}, api.Errorf(500, "internal", "see the log; the store may be damaged", "list the runs: %v", err)
	}
	here := s.now.Printer()
	h := api.History{Runs: []api.Entry{}, Printer: here}
	before := ""
	for i := min(len(rows), shownBack) - 1; i >= 0; i-- {
		if rows[i].State != record.EndDone {
			continue
		}
		c, ok := s.chapterOf(rows[i].ID, before)
		if !ok {
			continue
		}
		if h.Printer == "" || c.printer != h.Printer && here == "" {
			h.Printer, h.Runs = c.printer, []api.Entry{} // the latest run's printer counts
		}
		if c.printer != h.Printer {
			continue
		}
		c.entry.Later = s.MadeFor(c.entry.Run)
		h.Runs = append(h.Runs, c.entry)
		if c.tells {
			before = c.entry.Run
		}
	}
	h.Sentence = historySentence(h.Runs)
	return h, nil
}

// chapterOf returns what a run adds after the run before; false for one that adds
// nothing: a proof, an empty or an unreadable one.
func (s *Shelf) chapterOf(id, before string) (chapter, bool) {
	s.mu.Lock()
	c, known := s.chapters[id]
	s.mu.Unlock()
	if known && c.against == before {
		return c, c.entry.Run != ""
	}
	c, err := s.writeChapter(id, before)
	if err != nil {
		s.log.Error("a run cannot be read", "run", id, "err", err)
		return c, false
	}
	s.mu.Lock()
	if s.chapters == nil || len(s.chapters) > 2*shownBack {
		s.chapters = map[string]chapter{}
	}
	s.chapters[id] = c
	s.mu.Unlock()
	return c, c.entry.Run != ""
}

func (s *Shelf) writeChapter(id, before string) (chapter, error) {
	j, err := s.Judged(id)
	if err != nil || j.Run.Proof != nil || j.Run.For != "" || len(j.Run.Touches) == 0 {
		return chapter{against: before}, err
	}
	now := j
	var was *analysis.Judged
	if before != "" {
		b, err := s.Judged(before)
		if err != nil {
			return chapter{against: before}, err
		}
		if b.Run.Setup.Printer.ID == j.Run.Setup.Printer.ID {
			was = &b
		}
	}
	e := entryOf(now, was)
	return chapter{against: before, printer: j.Run.Setup.Printer.ID, tells: e.Twist != nil || e.Pitch != nil, entry: e}, nil
}

// sized is a value without its sign: which of two places that are off alike is the
// largest is chance, and on a machine that did not change it would flip from run to run.
func sized(m *api.Measured) *api.Measured {
	if m == nil || m.Value >= 0 {
		return m
	}
	out := *m
	out.Value, out.Lo95, out.Hi95 = -m.Value, -m.Hi95, -m.Lo95
	return &out
}

// entryOf is what one run tells, and what changed since before.
func entryOf(now analysis.Judged, before *analysis.Judged) api.Entry {
	a := Analysis(now.Run, now.Verdict)
	e := api.Entry{Run: now.Run.ID, Began: now.Run.Began, Lever: api.XY{X: now.Run.Setup.Lever.X, Y: now.Run.Setup.Lever.Y},
		Scatter: a.Stability.Scatter, Level: a.Level, Largest: sized(a.Largest)}
	if len(a.Findings) > 0 {
		e.Finding = a.Findings[0].ID
	}
	r := now.Verdict.Rates(now.Run.Setup.Lever)
	if r.Twist != nil {
		e.Twist = inDegrees(r.Twist)
	}
	if r.Pitch != nil {
		e.Pitch = inDegrees(r.Pitch)
	}
	if w, ok := steady.WarmthOf(now.Run); ok {
		e.Nozzle, e.Bed = &w.Nozzle, &w.Bed
	}
	switch {
	case r.Twist == nil && r.Pitch == nil:
		e.Why = "this run tells no angle of the head"
	case before == nil:
		e.Why = "the first"
	default:
		since(&e, *before, now)
	}
	return e
}

// since compares a run with the one before it that tells an angle.
func since(e *api.Entry, before, now analysis.Judged) {
	c, why := compare.Compare(before, now)
	if why != nil {
		e.Why = why.Text
		return
	}
	for _, what := range []string{"twist", "pitch"} {
		if x := c.Of(what); x != nil {
			e.Against, e.Change = &c.Before, change(*x)
			return
		}
	}
	e.Why = "not to be compared with the run before it"
	if len(c.Not) > 0 {
		e.Why = c.Not[0]
		for _, n := range c.Not {
			if strings.HasPrefix(n, "The twist") {
				e.Why = n
			}
		}
	}
}

// historySentence says whether the head tilts otherwise than before.
func historySentence(runs []api.Entry) string {
	compared, moved := 0, []api.Entry{}
	for _, e := range runs {
		if e.Change == nil {
			continue
		}
		compared++
		if e.Change.Beyond {
			moved = append(moved, e)
		}
	}
	switch {
	case compared == 0:
		return "There are no two runs yet whose tilt of the head can be compared: gauge again after some weeks, a repair, or a move of the printer."
	case len(moved) == 0:
		return fmt.Sprintf("In %d comparisons with the run before, the head did not change.", compared)
	}
	last := moved[len(moved)-1]
	s := fmt.Sprintf("Last changed with the run of %s. %s", last.Began.Local().Format("2 January 2006, 15:04"), last.Change.Sentence)
	if compared >= 10 {
		s += fmt.Sprintf(" Of %d comparisons one in twenty leaves its 95 %% interval by chance.", compared)
	}
	return s
}
