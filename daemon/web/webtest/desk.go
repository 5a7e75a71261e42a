package webtest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/probe/record"
)

// Show is what a Desk shows.
type Show struct {
	Printer  api.Printer
	Runs     []api.Run
	Records  map[string]record.Run
	Analyses map[string]api.Analysis
	Tables   map[string]api.Table
	Applied  api.Applied
	// Compared, Past and Levers are answered to whoever asks.
	Compared api.Comparison
	Past     api.History
	Levers   api.Levers
	// Repair, Print and Proof are the desk's answers for every run.
	Repair api.Repair
	Print  api.ProofPrint
	Proof  api.Proof
	Check  api.Check
	Room   []api.Neighbour
	// Nothing is what a stop request is answered that reaches nobody.
	Nothing string
	// Gap is the true gap error of every run; nil: not known.
	Gap func(u, v float64) api.Gap
	// Refuse holds the refusal of a verb by the name of its method of
	// api.Desk.
	Refuse map[string]error
}

// Desk is an api.Desk that shows what it was told, and notes what was asked of
// it. It is safe for concurrent use.
type Desk struct {
	mu      sync.Mutex
	show    Show
	asked   []string
	changed chan struct{}
}

// NewDesk returns a desk that shows s.
func NewDesk(s Show) *Desk { return &Desk{show: s, changed: make(chan struct{})} }

// Change changes what is shown and wakes whoever waits.
func (d *Desk) Change(how func(*Show)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	how(&d.show)
	close(d.changed)
	d.changed = make(chan struct{})
}

// Asked returns what was asked so far: the method and its arguments.
func (d *Desk) Asked() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.asked...)
}

// note keeps a verb with its arguments.
func (d *Desk) note(verb string, args ...any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, a := range args {
		b, _ := json.Marshal(a)
		verb += " " + string(b)
	}
	d.asked = append(d.asked, verb)
}

func (d *Desk) refused(verb string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.show.Refuse[verb]
}

// look returns what is shown now.
func (d *Desk) look() Show {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.show
}

// do is a verb that changes something: noted, perhaps refused.
func (d *Desk) do(verb string, args ...any) error {
	d.note(verb, args...)
	return d.refused(verb)
}

// find reads something of a run.
func find[T any](d *Desk, verb, id string, all map[string]T) (T, error) {
	var none T
	if err := d.refused(verb); err != nil {
		return none, err
	}
	if _, err := d.Run(id); err != nil {
		return none, err
	}
	v, ok := all[id]
	if !ok {
		return none, api.Errorf(http.StatusConflict, "not-ready", "wait for the run", "run %s has no %s yet", id, verb)
	}
	return v, nil
}

// of is an answer about runs that are shown.
func of[T any](d *Desk, verb string, answer T, ids ...string) (T, error) {
	var none T
	for _, id := range ids {
		if _, err := d.Run(id); err != nil {
			return none, err
		}
	}
	return answer, d.refused(verb)
}

// Printer shows the printer, with what goes on at it.
func (d *Desk) Printer() api.Printer {
	s := d.look()
	p := s.Printer
	for _, r := range s.Runs {
		if !r.State.Over() {
			p.Going = r.ID
		}
	}
	if s.Applied.State == api.Writing || s.Applied.State == api.Verifying {
		p.Going = "correction-" + Digest
	}
	seen := status.Snapshot{Printer: p, Applied: s.Applied}
	if len(s.Runs) > 0 {
		seen.Run = &s.Runs[0]
	}
	p.Todo = status.Todo(seen)
	return p
}

func (d *Desk) OpenPort(_ context.Context, o api.Open) error { return d.do("OpenPort", o) }

// StartRun shows a new run that waits for its cautions.
func (d *Desk) StartRun(_ context.Context, n api.NewRun, by string) (api.Run, error) {
	if err := d.do("StartRun", n, by); err != nil {
		return api.Run{}, err
	}
	r := api.Run{ID: "new", State: api.AwaitingConfirmation, Steps: n.Steps, Began: time.Unix(1, 0), Number: 1,
		Cautions: RunCautions}
	d.Change(func(s *Show) { s.Runs = append([]api.Run{r}, s.Runs...) })
	return r, nil
}

func (d *Desk) Withdraw(_ context.Context, id, by string) error { return d.do("Withdraw", id, by) }

func (d *Desk) Confirm(_ context.Context, id string, c api.Confirm) error {
	return d.do("Confirm", id, c)
}

func (d *Desk) Runs() ([]api.Run, error) { return d.look().Runs, d.refused("Runs") }

// Run returns a run of those shown.
func (d *Desk) Run(id string) (api.Run, error) {
	for _, r := range d.look().Runs {
		if r.ID == id {
			return r, d.refused("Run")
		}
	}
	return api.Run{}, api.Errorf(http.StatusNotFound, "not-found", "GET /api/v1/runs lists them", "there is no run %q", id)
}

func (d *Desk) Answer(_ context.Context, id string, a api.AnswerPrompt, by string) error {
	return d.do("Answer", id, a, by)
}

func (d *Desk) Gauge(_ context.Context, id string, a api.GaugeAction) (api.Run, error) {
	if err := d.do("Gauge", id, a); err != nil {
		return api.Run{}, err
	}
	return d.Run(id)
}

func (d *Desk) Changed() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.changed
}

func (d *Desk) Record(id string) (api.Record, error) {
	r, err := find(d, "Record", id, d.look().Records)
	if err != nil {
		return nil, err
	}
	return json.Marshal(r)
}

func (d *Desk) Analysis(id string) (api.Analysis, error) {
	return find(d, "Analysis", id, d.look().Analyses)
}

// Gap answers from what is shown as the gap error.
func (d *Desk) Gap(id string, a api.AskGap) ([]api.Gap, error) {
	out := make([]api.Gap, len(a.Points))
	for i, p := range a.Points {
		if g := d.look().Gap; g != nil {
			out[i] = g(p[0], p[1])
		} else {
			out[i] = api.Gap{Reason: "nothing was gauged"}
		}
	}
	return of(d, "Gap", out, id)
}

func (d *Desk) Table(id string) (api.Table, error) { return find(d, "Table", id, d.look().Tables) }

// Compare answers for two runs that are shown.
func (d *Desk) Compare(before, after string) (api.Comparison, error) {
	return of(d, "Compare", d.look().Compared, before, after)
}

func (d *Desk) History() (api.History, error) { return d.look().Past, d.refused("History") }

func (d *Desk) Levers(id string, a api.AskLevers) (api.Levers, error) {
	d.note("Levers", id, a)
	return of(d, "Levers", d.look().Levers, id)
}

func (d *Desk) SignOff(_ context.Context, digest string, s api.SignOff) (api.SignedOff, error) {
	return api.SignedOff{Token: fmt.Sprintf("token-for-%s", digest), Expires: time.Unix(600, 0)}, d.do("SignOff", digest, s)
}

func (d *Desk) Apply(_ context.Context, digest string, a api.Apply, by string) error {
	return d.do("Apply", digest, a, by)
}

func (d *Desk) Check() api.Check { return d.look().Check }
func (d *Desk) Room() ([]api.Neighbour, error) {
	return append([]api.Neighbour{}, d.look().Room...), d.refused("Room")
}
func (d *Desk) Applied() api.Applied                    { return d.look().Applied }
func (d *Desk) Undo(_ context.Context, by string) error { return d.do("Undo", by) }

// Stop goes out, unless Nothing says that nothing is there to be stopped.
func (d *Desk) Stop(_ context.Context, _ api.AskStop, by string) (api.StopAnswer, error) {
	if text := d.look().Nothing; text != "" {
		return api.StopAnswer{Text: text}, d.do("Stop", by)
	}
	return api.StopAnswer{Requested: true, Text: api.StopSentence}, d.do("Stop", by)
}

// Prove shows a new run that waits for its cautions.
func (d *Desk) Prove(ctx context.Context, by string) (api.Run, error) {
	if err := d.do("Prove", by); err != nil {
		return api.Run{}, err
	}
	return d.StartRun(ctx, api.NewRun{Steps: []string{"prove"}}, by)
}

func (d *Desk) Reapply(_ context.Context, by string) error { return d.do("Reapply", by) }

func (d *Desk) Resolve(_ context.Context, r api.Resolve, by string) error {
	return d.do("Resolve", r, by)
}

var _ api.Desk = (*Desk)(nil)
