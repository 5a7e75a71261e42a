package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

// Person plays whoever stands at the machine. They know the API, the token and
// how the blade drags, and nothing else of the printer.
type Person struct {
	API *client.Client
	// Feel tells the room under the nozzle above a blade of this thickness, mm:
	// what the hand feels.
	Feel func(blade float64) float64
	Rnd  *rand.Rand
	say  io.Writer
	Name string
	// Paper: they have no blade.
	Paper bool

	Presses, records int
	shown            string // the step that was said last
	ahead            string // for which what is ahead was said last
	known            int    // records after which it was said how well the gap error is known
	// Seen is told each state of the run that comes; nil: nobody asks.
	Seen func(api.Run)
	// Answer says what they answer to a prompt; nil: no to all.
	Answer func(api.Prompt) (yes bool, value *float64)
	// Phase is told that a table is about to be applied, or undone; nil: nobody
	// asks.
	Phase func(string)
}

// HandScatter is the standard deviation with which a hand calls the drag of a gauge, mm.
const HandScatter = 0.008

// WholeJob measures, and applies and undoes a table if one is offered.
func (p *Person) WholeJob(ctx context.Context) (*ask.Outcome, error) {
	o := &ask.Outcome{}
	run, err := p.Measure(ctx, "repeat", "gauging", "survey")
	if err != nil {
		return nil, err
	}
	o.Run = run
	if err := o.Read(ctx, p.API); err != nil {
		return o, err
	}
	o.Presses, o.Records = p.Presses, p.records
	if run.State != api.Done {
		return o, fmt.Errorf("the run %s: %s", run.State, run.Sentence)
	}
	if o.Table.Digest == nil {
		return o, nil
	}
	return o, p.Correct(ctx, o)
}

// Measure does a run from its beginning to its end.
func (p *Person) Measure(ctx context.Context, steps ...string) (api.Run, error) {
	var run api.Run
	err := client.Patiently(ctx, func() (err error) {
		run, err = p.API.StartRun(ctx, steps...)
		return err
	})
	if err != nil {
		return run, err
	}
	return p.Carry(ctx, run)
}

// Carry takes a run that awaits confirmation to its end.
func (p *Person) Carry(ctx context.Context, run api.Run) (api.Run, error) {
	p.watch(run)
	how := api.Confirm{Person: p.Name, Paper: p.Paper}
	for _, c := range run.Cautions {
		p.tell("confirmed: %s", c.Text)
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := p.API.Confirm(ctx, run.ID, how); err != nil {
		return run, err
	}
	for {
		run, err := p.API.Wait(ctx, run.ID, func(r api.Run) bool {
			p.watch(r)
			return r.State.Over() || r.State == api.AwaitingGauge || r.State == api.AwaitingNext || r.State == api.AwaitingPerson
		})
		if err != nil || run.State.Over() {
			return run, err
		}
		if err := p.Act(ctx, run); err != nil {
			return run, err
		}
	}
}

// Act does what a person does where the run waits for them.
func (p *Person) Act(ctx context.Context, run api.Run) error {
	if run.State == api.AwaitingPerson {
		return p.reply(ctx, run)
	}
	if run.State == api.AwaitingNext {
		return p.Gauge(ctx, run.ID, api.GaugeAction{Action: "next"})
	}
	return p.bringDown(ctx, run)
}

// GaugesMore is the answer of somebody who gauges one more place when asked, at
// most n times.
func GaugesMore(n int) func(api.Prompt) (bool, *float64) {
	return func(q api.Prompt) (bool, *float64) {
		if n == 0 || !strings.HasPrefix(q.ID, "more-places") {
			return false, nil
		}
		n--
		return true, nil
	}
}

// reply answers the prompt of a run.
func (p *Person) reply(ctx context.Context, run api.Run) error {
	a := api.AnswerPrompt{Prompt: run.Prompt.ID, Answer: "no"}
	if p.Answer != nil {
		if yes, value := p.Answer(*run.Prompt); yes {
			a.Answer, a.Value = "yes", value
		}
	}
	p.tell("%s: %s", run.Prompt.Text, a.Answer)
	return p.API.Answer(ctx, run.ID, a)
}

// DragBand is over how much of the way down a gauge drags, from loose to tight, mm: a
// blade of spring steel under a nozzle (common practice, no source).
const DragBand = 0.02

// Felt is what a hand feels with so much room above the gauge, mm, that lets it drag from
// call on.
func Felt(gap, call float64) string {
	switch {
	case gap > call:
		return "loose"
	case gap >= call-DragBand:
		return "drags"
	}
	return "tight"
}

// bringDown says what the hand feels until the nozzle is up. It feels where the gauge
// begins to drag a little differently for each reading, and knows of no height.
func (p *Person) bringDown(ctx context.Context, run api.Run) error {
	call := p.Rnd.NormFloat64() * HandScatter
	for run.State == api.AwaitingGauge && run.Place != nil {
		answer, had := Felt(p.Feel(run.Place.Gauge), call), run.Gaugings
		p.Presses++
		r, err := p.API.Gauge(ctx, run.ID, api.GaugeAction{Action: answer})
		var e *api.Error
		if errors.As(err, &e) && e.Code == "past-floor" {
			return nil // the run goes on, or ends, by itself
		}
		if err != nil {
			return err
		}
		if run = r; run.Gaugings > had {
			p.records++
			call = p.Rnd.NormFloat64() * HandScatter
		}
	}
	return nil
}

func (p *Person) Gauge(ctx context.Context, id string, a api.GaugeAction) error {
	_, err := p.API.Gauge(ctx, id, a)
	return err
}

// Correct applies the table, looks at what was read back, and undoes it.
func (p *Person) Correct(ctx context.Context, o *ask.Outcome) error {
	if err := p.Apply(ctx, o); err != nil {
		return err
	}
	p.tell("applied, read back and kept")
	p.comesTo("undo")
	if err := p.API.Undo(ctx); err != nil {
		return err
	}
	if err := p.Settled(ctx, api.Undone); err != nil {
		return err
	}
	p.tell("undone: the old map is back")
	return nil
}

// Apply signs the table off and waits until it is kept.
func (p *Person) Apply(ctx context.Context, o *ask.Outcome) error {
	how := api.SignOff{Person: p.Name}
	for _, c := range o.Table.Cautions {
		p.tell("confirmed: %s", c.Text)
		how.Cautions = append(how.Cautions, c.ID)
	}
	signed, err := p.API.SignOff(ctx, *o.Table.Digest, how)
	if err != nil {
		return err
	}
	p.comesTo("apply")
	if err := p.API.Apply(ctx, *o.Table.Digest, signed.Token); err != nil {
		return err
	}
	return p.Settled(ctx, api.Kept)
}

func (p *Person) comesTo(phase string) {
	if p.Phase != nil {
		p.Phase(phase)
	}
}

// Settled waits until what is applied reached the wanted state.
func (p *Person) Settled(ctx context.Context, want api.AppliedState) error {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		a, err := p.API.Applied(ctx)
		if err != nil {
			return err
		}
		switch {
		case a.State == want:
			return nil
		case a.State != api.Writing && a.State != api.Verifying && a.State != api.Kept:
			if a.Error != nil {
				return a.Error
			}
			return fmt.Errorf("the correction is %s and not %s", a.State, want)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// watch says how far the run is.
func (p *Person) watch(r api.Run) {
	if p.Seen != nil {
		p.Seen(r)
	}
	p.lookAhead(r)
	mark := fmt.Sprintf("%s %d", r.Step, 10*r.Progress.Done/max(1, r.Progress.Of))
	if mark == p.shown {
		return
	}
	p.shown = mark
	if r.Progress.Of == 0 { // it is over at once
		p.tell("%s", r.Step)
		return
	}
	left := ""
	if r.Progress.ETA != nil && r.Progress.Done < r.Progress.Of {
		left = fmt.Sprintf(", about %s left", time.Duration(math.Round(*r.Progress.ETA))*time.Second)
	}
	p.tell("%s: %d of %d%s", r.Step, r.Progress.Done, r.Progress.Of, left)
}

// lookAhead says what is ahead when a step begins, and how well the gap error is
// known after each record.
func (p *Person) lookAhead(r api.Run) {
	f := r.Forecast
	if f == nil {
		return
	}
	mark := fmt.Sprintf("%s %v", r.Step, f.Measured)
	if mark != p.ahead {
		p.ahead = mark
		p.tell("ahead, about %s", ask.Ahead(*f))
	}
	if g := f.Gauging; g != nil && r.Step == "gauging" && g.Records != p.known && g.Now != nil {
		p.known = g.Records
		p.tell("after %d readings the nozzle error is known to %s; %d to come", g.Records, say.PM(*g.Now), g.Left)
	}
}

func (p *Person) tell(text string, args ...any) {
	if p.say != nil {
		fmt.Fprintf(p.say, "  "+text+"\n", args...)
	}
}
