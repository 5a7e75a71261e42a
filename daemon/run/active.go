package run

import (
	"context"
	"slices"
	"sync"

	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/daemon/store"
	"abbed/probe"
	"abbed/probe/record"
)

// active is a run that has not ended, or the last one that has since the start
// of the program. It is the Person and the Show of its job.
type active struct {
	log     *store.Log
	acts    chan probe.Action
	replies chan probe.Reply
	over    chan struct{} // closed when the run has ended
	cancel  context.CancelCauseFunc
	changed func()
	quick   bool           // a small survey will do
	earlier *probe.Earlier // the run that more is gauged for, nil for none

	mu     sync.Mutex
	state  api.State
	view   probe.View
	err    *api.Error
	handed bool // something that the person did is being carried out
	toStop bool // a stop was asked for: the run is stopped, whatever else it meets
	ending bool // how it ends is decided: a stop comes too late
}

func newActive(log *store.Log, changed func()) *active {
	return &active{
		log: log, acts: make(chan probe.Action, 1), replies: make(chan probe.Reply, 1), over: make(chan struct{}), changed: changed,
		cancel: func(error) {}, state: api.AwaitingConfirmation,
		view: probe.View{Step: record.StepPrepare, Sentence: "The run waits for you to start it."},
	}
}

// Act waits for the next action of the person; it implements probe.Person.
func (a *active) Act(ctx context.Context) (probe.Action, error) {
	select {
	case act := <-a.acts:
		return act, nil
	case <-ctx.Done():
		return probe.Action{}, context.Cause(ctx)
	}
}

// Reply waits for the answer to the question that is shown; it implements
// probe.Person.
func (a *active) Reply(ctx context.Context) (probe.Reply, error) {
	select {
	case r := <-a.replies:
		return r, nil
	case <-ctx.Done():
		return probe.Reply{}, context.Cause(ctx)
	}
}

// answer hands an answer to the job and waits until it has been taken.
func (a *active) answer(p api.AnswerPrompt, by string) error {
	return a.hand("answer", func() error {
		switch q := a.view.Question; {
		case a.state != api.AwaitingPerson || q == nil:
			return api.Errorf(409, "wrong-state", "wait for awaiting-person", "answer: the run is %s and asks nothing", a.state)
		case q.ID != p.Prompt:
			return api.Errorf(409, "unknown-prompt", "look at the run's prompt", "answer: the run asks %q, not %q", q.ID, p.Prompt)
		}
		return nil
	}, func(done func(error)) {
		a.replies <- probe.Reply{Answer: record.Answer{ID: p.Prompt, Yes: p.Answer == "yes", Value: p.Value, Person: by}, Done: done}
	})
}

// do hands an action to the job and waits until it has been carried out.
func (a *active) do(g api.GaugeAction) error {
	return a.hand("gauge", func() error {
		if a.state != api.AwaitingGauge && a.state != api.AwaitingNext {
			return api.Errorf(409, "wrong-state", "wait for awaiting-gauge or awaiting-next", "gauge: the run is %s", a.state)
		}
		return nil
	}, func(done func(error)) {
		a.acts <- probe.Action{Do: g.Action, Done: done}
	})
}

// hand gives the job what a person did, if it waits for that, and waits until it has
// been carried out or the run has ended. One thing at a time: nothing waits behind
// another request, so that what is carried out is what the person saw.
func (a *active) hand(act string, may func() error, give func(done func(error))) error {
	a.mu.Lock()
	err := may()
	if err == nil && a.handed {
		err = api.Errorf(409, "wrong-state", "look at the run, then press again if it is still wanted", "%s: another request is being carried out", act)
	}
	if err != nil {
		a.mu.Unlock()
		return err
	}
	done := make(chan error, 1)
	a.handed = true
	give(func(err error) {
		a.mu.Lock()
		a.handed = false
		a.mu.Unlock()
		done <- err
	})
	a.mu.Unlock()
	select {
	case err := <-done:
		return err
	case <-a.over:
	}
	select {
	case err := <-done: // an outcome that is there counts before the end
		return err
	default:
		return a.ended(act)
	}
}

// Show takes a view of the job.
func (a *active) Show(v probe.View) {
	a.mu.Lock()
	a.view = v
	a.state = map[probe.Phase]api.State{
		probe.PhaseWorking: api.Running, probe.PhaseGauge: api.AwaitingGauge, probe.PhaseNext: api.AwaitingNext,
		probe.PhasePerson: api.AwaitingPerson,
	}[v.Phase]
	a.mu.Unlock()
	a.changed()
}

// step shows a step that is not the job's.
func (a *active) step(s record.Step, sentence string) {
	a.mu.Lock()
	a.state = api.Running
	a.view = probe.View{Phase: probe.PhaseWorking, Step: s, Sentence: sentence, Forecast: a.view.Forecast}
	a.mu.Unlock()
	a.changed()
}

// end closes the run; only the first call counts.
func (a *active) end(s api.State, err *api.Error, sentence string) {
	a.mu.Lock()
	if a.state.Over() {
		a.mu.Unlock()
		return
	}
	a.state, a.err = s, err
	a.view.Sentence, a.view.Spot, a.view.Left, a.view.Question = sentence, nil, nil, nil
	a.mu.Unlock()
	close(a.over)
	a.changed()
}

func (a *active) now() api.State {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.state
}

// ended returns why an action came too late.
func (a *active) ended(act string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.err != nil {
		late := *a.err
		late.Status = 409
		return &late
	}
	return api.Errorf(409, "wrong-state", "look at the run", "%s: the run is %s", act, a.state)
}

// show is the run as the API shows it.
func (a *active) show() api.Run {
	run := a.log.Run()
	a.mu.Lock()
	defer a.mu.Unlock()
	out := results.Shown(run)
	out.State, out.Error, out.Sentence = a.state, a.err, a.view.Sentence
	out.Progress = api.Progress{Done: a.view.Done, Of: a.view.Of}
	out.Unwatched = a.view.Unwatched
	if a.view.Step != "" {
		out.Step = string(a.view.Step)
	}
	if a.view.Left != nil {
		left := a.view.Left.Seconds()
		out.Progress.ETA = &left
	}
	if !a.state.Over() {
		out.Forecast = forecast(a.view.Forecast)
	}
	if a.state == api.AwaitingConfirmation {
		out.Cautions = cautions(run)
	}
	if s := a.view.Spot; s != nil {
		out.Place = &api.Spot{
			Index: s.Index, U: s.Place.U, V: s.Place.V, Z: s.Z, Predicted: s.Predicted, Floor: s.Floor,
			NextStep: s.NextStep, Records: s.Records, Wanted: s.Wanted, Of: s.Of, Gauge: s.Blade,
			Heights: slices.Clone(s.Contacts),
		}
		for _, p := range s.Ahead {
			out.Place.Ahead = append(out.Place.Ahead, [2]float64{p.U, p.V})
		}
	}
	if q := a.view.Question; q != nil && a.state == api.AwaitingPerson {
		out.Prompt = &api.Prompt{ID: q.ID, Text: q.Text}
		out.Prompt.Value = q.Value
	}
	return out
}
