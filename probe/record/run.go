package record

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Run is the fold of the events of one run. As JSON it is the record that the
// API serves and that abbed runs analyse reads.
type Run struct {
	Version   int        `json:"version"`
	ID        string     `json:"id"`
	Steps     []Step     `json:"steps"`
	By        string     `json:"by,omitempty"`
	Began     time.Time  `json:"began"`
	Setup     Setup      `json:"setup"`
	Proof     *Proof     `json:"proof,omitempty"`
	Heat      *Heat      `json:"heat,omitempty"`
	Confirmed *Confirmed `json:"confirmed,omitempty"`
	// Step is the step that began last.
	Step Step `json:"step"`
	// Finished lists the steps after which another began, or the run was done.
	Finished []Step    `json:"finished"`
	Touches  []Touch   `json:"touches"`
	Gaugings []Gauging `json:"gaugings"`
	// Map is the stored map as read in this run, nil if it was not.
	Map       *Map       `json:"map,omitempty"`
	Settings  string     `json:"settings,omitempty"`
	Questions []Question `json:"questions,omitempty"`
	Answers   []Answer   `json:"answers,omitempty"`
	// Readings are what the person read from instruments of their own, Laid
	// what lay on the bed, in their order.
	Readings []Reading `json:"readings,omitempty"`
	Laid     []Laid    `json:"laid,omitempty"`
	// For is the earlier run that this one was made for; Joined are the gaugings of
	// later runs that were made for this one.
	For    string   `json:"for,omitempty"`
	Joined []Joined `json:"joined,omitempty"`
	// Off lists the switches that this run threw and has not put back.
	Off   []Switch `json:"off,omitempty"`
	Cut   *Cut     `json:"cut,omitempty"`
	Notes []string `json:"notes,omitempty"`
	// Warmth is how warm nozzle and bed were, in the order of the steps.
	Warmth []Warmth  `json:"warmth,omitempty"`
	Faults []Problem `json:"faults,omitempty"`
	// Ended is nil while the run goes on, or was never ended (a crash).
	Ended *Ended `json:"ended,omitempty"`
	// Last is the number and T the time of the last event.
	Last int64   `json:"last"`
	T    float64 `json:"t"`
}

// ErrVersion says that a run was written in a format this program does not know.
var ErrVersion = errors.New("record: written in a newer format; use the version of abbed that wrote it, or a later one")

// Fold returns the run that the events make. It needs at least the Opened
// event, and the events in order.
func Fold(events []Event) (Run, error) {
	var r Run
	for _, e := range events {
		if err := r.Add(e); err != nil {
			return r, err
		}
	}
	if r.Last == 0 {
		return r, errors.New("record: fold: no events")
	}
	return r, nil
}

// Add folds one more event in. On an error r is as before.
func (r *Run) Add(e Event) error {
	if n := e.bodies(); n != 1 {
		return fmt.Errorf("record: event %d has %d bodies, want one", e.N, n)
	}
	if e.N != r.Last+1 {
		return fmt.Errorf("record: event %d follows event %d", e.N, r.Last)
	}
	if (e.Opened != nil) != (r.Last == 0) {
		return fmt.Errorf("record: event %d: a run opens with its first event and only there", e.N)
	}
	if e.Opened != nil && (e.Opened.Version < 1 || e.Opened.Version > Version) {
		return ErrVersion
	}
	if err := e.bounded(); err != nil {
		return err
	}
	r.fold(e)
	r.Last, r.T = e.N, e.T
	return nil
}

func (r *Run) fold(e Event) {
	switch {
	case e.Opened != nil:
		o := e.Opened
		r.Version, r.ID, r.Steps, r.By, r.Setup, r.Began = o.Version, o.ID, o.Steps, o.By, o.Setup, e.Wall
		r.Proof, r.Heat, r.For = o.Proof, o.Heat, o.For
	case e.Confirmed != nil:
		r.Confirmed = e.Confirmed
		if e.Confirmed.Paper {
			r.Setup.Criteria = r.Setup.Criteria.WithPaper()
		}
	case e.Began != nil:
		r.finish()
		r.Step = e.Began.Step
	case e.Touch != nil:
		t := *e.Touch
		t.N, t.T = e.N, e.T
		if !r.inState(t.Levelled, fmt.Sprintf("touch at %s", t.Place)) {
			return
		}
		r.Setup.ReportStep = max(r.Setup.ReportStep, t.Step)
		r.Touches = append(r.Touches, t)
	case e.Gauging != nil:
		g := *e.Gauging
		g.N, g.T = e.N, e.T
		if !r.inState(g.Levelled, fmt.Sprintf("reading at %s", g.Place)) {
			return
		}
		r.Gaugings = append(r.Gaugings, g)
	case e.Forgot != nil:
		n := e.Forgot.Gauging
		r.Gaugings = slices.DeleteFunc(slices.Clone(r.Gaugings), func(g Gauging) bool { return g.N == n })
	case e.Map != nil:
		m := *e.Map
		m.N, m.T = e.N, e.T
		r.Map = &m
		if a := r.Setup.Applied; a != nil && a.In(m.Nodes).Whole == Nowhere {
			r.Setup.Applied = nil // measured anew since: it is not in force
		}
	case e.Settings != nil:
		r.Settings = e.Settings.Text
	case e.Question != nil:
		r.Questions = append(r.Questions, *e.Question)
	case e.Answer != nil:
		r.Answers = append(r.Answers, *e.Answer)
	case e.Reading != nil:
		v := *e.Reading
		v.N, v.T = e.N, e.T
		r.Readings = append(r.Readings, v)
	case e.Laid != nil:
		l := *e.Laid
		l.N = e.N
		r.Laid = append(r.Laid, l)
	case e.Joined != nil:
		r.join(*e.Joined, e.N)
	case e.Switched != nil:
		r.switched(*e.Switched)
	case e.Cut != nil:
		r.Cut = e.Cut
	case e.Warmth != nil:
		w := *e.Warmth
		w.T = e.T
		r.Warmth = append(r.Warmth, w)
	case e.Note != nil:
		r.Notes = append(r.Notes, e.Note.Text)
	case e.Fault != nil:
		r.Faults = append(r.Faults, *e.Fault)
	case e.Ended != nil:
		if e.Ended.State == EndDone {
			r.finish()
		}
		r.Ended = e.Ended
	}
}

// inState reports whether what was measured counts: a verification measures with the
// stored levelling on, all else with it off. What does not is noted.
func (r *Run) inState(levelled bool, what string) bool {
	if r.Version < levelledSince || levelled == (r.Proof != nil) {
		return true
	}
	state := "off"
	if levelled {
		state = "on"
	}
	r.Notes = append(r.Notes, fmt.Sprintf("the %s does not count: the stored levelling was %s", what, state))
	return false
}

// join takes the gaugings of another run, once: a run counts once however often it
// was written down. The record is then one of the version that knows them, so that
// an older program does not read it as if they were not there.
func (r *Run) join(j Joined, n int64) {
	if r.Has(j.Run) {
		return
	}
	j.N = n
	r.Joined = append(r.Joined, j)
	r.Version = max(r.Version, joinedSince)
}

// Has reports whether the gaugings of the other run are joined.
func (r Run) Has(other string) bool {
	return slices.ContainsFunc(r.Joined, func(j Joined) bool { return j.Run == other })
}

// finish notes that the step in hand came to its end.
func (r *Run) finish() {
	if r.Step != "" {
		r.Finished = append(r.Finished, r.Step)
	}
}

// Owes reports whether a switch that stands at on has to be put back: whatever is not
// as it was before the run.
func (r Run) Owes(what Switch, on bool) bool {
	switch what {
	case SwitchHeaters:
		return on
	case SwitchLevelling:
		return on != r.Setup.Levelling
	}
	return !on
}

// Owed names what has to be put back of a switch in Off: a levelling that was off
// before the run is to be switched off.
func (r Run) Owed(what Switch) Switch {
	if what == SwitchLevelling && !r.Setup.Levelling {
		return SwitchUnlevelled
	}
	return what
}

// switched keeps the list of what has to be put back.
func (r *Run) switched(s Switched) {
	owed := r.Owed(s.What)
	r.Off = slices.DeleteFunc(slices.Clone(r.Off), func(w Switch) bool { return w == owed })
	if r.Owes(s.What, s.On) {
		r.Off = append(r.Off, owed)
	}
}

// Clone returns a copy that shares nothing that Add changes.
func (r Run) Clone() Run {
	r.Finished = slices.Clone(r.Finished)
	r.Touches = slices.Clone(r.Touches)
	r.Gaugings = slices.Clone(r.Gaugings)
	r.Questions = slices.Clone(r.Questions)
	r.Answers = slices.Clone(r.Answers)
	r.Readings = slices.Clone(r.Readings)
	r.Laid = slices.Clone(r.Laid)
	r.Joined = slices.Clone(r.Joined)
	r.Off = slices.Clone(r.Off)
	r.Notes = slices.Clone(r.Notes)
	r.Warmth = slices.Clone(r.Warmth)
	r.Faults = slices.Clone(r.Faults)
	return r
}

// Of returns the touches of a series, in the order in which they were made.
func (r Run) Of(s Series) []Touch {
	var out []Touch
	for _, t := range r.Touches {
		if t.Series == s {
			out = append(out, t)
		}
	}
	return out
}

// Did reports whether a step was finished.
func (r Run) Did(s Step) bool { return slices.Contains(r.Finished, s) }

// Asked reports whether a step was asked for.
func (r Run) Asked(s Step) bool { return slices.Contains(r.Steps, s) }

// CheckVersion returns ErrVersion if the run was written in a format that this
// program does not know.
func CheckVersion(r Run) error {
	if r.Version < 1 || r.Version > Version {
		return ErrVersion
	}
	return nil
}
