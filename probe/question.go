package probe

import (
	"context"
	"fmt"
	"math"

	"abbed/probe/record"
)

// question puts a question to the person and waits for the answer. late says
// that it came after the person's patience had run out: the nozzle was raised
// then, and the machine has to home before it moves again. check, which may be
// nil, refuses an answer that cannot be taken; the question stays then.
func (j *job) question(ctx context.Context, q record.Question, check func(record.Answer) error) (a record.Answer, late bool, err error) {
	if err := j.keep(record.Event{Question: &q}); err != nil {
		return a, false, err
	}
	for {
		j.view.Phase, j.view.Question, j.view.Sentence = PhasePerson, &q, q.Text
		j.show()
		r, err := j.reply(ctx)
		if err != nil && ctx.Err() == nil && !late {
			late = true
			if err := j.tire(ctx); err != nil {
				return a, late, err
			}
			continue
		}
		if err != nil {
			return a, late, err
		}
		if err := answers(q, r.Answer, check); err != nil {
			r.Done(err)
			continue
		}
		err = j.keep(record.Event{Answer: &r.Answer})
		j.view.Phase, j.view.Question, j.view.Sentence = PhaseWorking, nil, sentences[j.view.Step]
		j.show()
		r.Done(err)
		return r.Answer, late, err
	}
}

// ifAnswered puts a question that nobody need answer: without an answer within the
// person's patience it is a no.
func (j *job) ifAnswered(ctx context.Context, q record.Question) (yes bool, err error) {
	if err := j.keep(record.Event{Question: &q}); err != nil {
		return false, err
	}
	for {
		j.view.Phase, j.view.Question, j.view.Spot, j.view.Sentence = PhasePerson, &q, nil, q.Text
		j.show()
		j.tired = false
		r, err := j.reply(ctx)
		switch {
		case err != nil && ctx.Err() != nil:
			return false, err
		case err != nil:
			j.unasked()
			return false, j.keep(record.Event{Answer: &record.Answer{ID: q.ID}})
		}
		if err := answers(q, r.Answer, nil); err != nil {
			r.Done(err)
			continue
		}
		err = j.keep(record.Event{Answer: &r.Answer})
		j.unasked()
		r.Done(err)
		if err == nil && r.Answer.Yes {
			err = j.stillFree(ctx)
		}
		return r.Answer.Yes, err
	}
}

// unasked shows that the run works again.
func (j *job) unasked() {
	j.view.Phase, j.view.Question, j.view.Sentence = PhaseWorking, nil, sentences[j.view.Step]
	j.show()
}

// reply waits for an answer, at most as long as the person's patience.
func (j *job) reply(ctx context.Context) (Reply, error) {
	limited, cancel := j.Clock.WithTimeout(ctx, j.plan.Patience)
	defer cancel()
	if j.tired {
		limited = ctx
	}
	return j.Person.Reply(limited)
}

// tire raises the nozzle and switches the heaters off when nobody has answered
// for long.
func (j *job) tire(ctx context.Context) error {
	j.tired = true
	if j.head.Homed() {
		if err := j.head.Raise(ctx); err != nil {
			return err
		}
	}
	if err := j.coolUnwatched(ctx); err != nil {
		return err
	}
	return j.keep(record.Event{Note: &record.Note{Text: fmt.Sprintf("nobody answered for %s: the nozzle was raised, heat is off", j.plan.Patience)}})
}

// rehome homes before the next move if the person was away for long, or moved
// something that the machine stands on.
func (j *job) rehome(ctx context.Context) error {
	j.tired = false
	return j.homeAgain(ctx)
}

// answers says whether an answer can be taken.
func answers(q record.Question, a record.Answer, check func(record.Answer) error) error {
	if a.ID != q.ID {
		return refuse("unknown-prompt", "look at the run's prompt", "answer: the run asks %q, not %q", q.ID, a.ID)
	}
	if !a.Yes {
		return nil
	}
	if w := q.Value; w != nil {
		if a.Value == nil {
			return refuse("bad-value", fmt.Sprintf("answer yes with a value in %s, or no", w.Unit), "answer: a yes to %q needs a value", q.ID)
		}
		if v := *a.Value; math.IsNaN(v) || v < w.Least || v > w.Most {
			return refuse("bad-value", fmt.Sprintf("give %s between %g and %g", w.Unit, w.Least, w.Most), "answer: %g %s cannot be right for %q", v, w.Unit, q.ID)
		}
	} else if a.Value != nil {
		return refuse("bad-value", "answer without a value", "answer: %q takes no value", q.ID)
	}
	if check != nil {
		return check(a)
	}
	return nil
}

// number is what a yes with a value said.
func number(a record.Answer) float64 {
	if a.Value == nil {
		return 0
	}
	return *a.Value
}

// free looks whether the machine may move on after a question: nobody else uses
// it, and its motors were not off in between.
func (j *job) free(ctx context.Context, late bool) error {
	if err := j.stillFree(ctx); err != nil {
		return err
	}
	if late {
		return j.rehome(ctx)
	}
	return nil
}
