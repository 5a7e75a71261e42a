package probe

import (
	"context"
	"errors"
	"fmt"
	"math"

	"abbed/probe/record"
)

// question puts a question to the person and waits for the answer. One that cannot be
// taken is refused; the question stays then.
func (j *job) question(ctx context.Context, q record.Question) (a record.Answer, err error) {
	a, _, err = j.put(ctx, q, false)
	return a, err
}

// ifAnswered puts a question that nobody need answer: without an answer within the
// person's patience it is a no.
func (j *job) ifAnswered(ctx context.Context, q record.Question) (yes bool, err error) {
	a, here, err := j.put(ctx, q, true)
	switch {
	case err != nil:
		return false, err
	case !here:
		return false, j.keep(record.Event{Answer: &record.Answer{ID: q.ID}})
	case a.Yes:
		return true, j.back(ctx)
	}
	return false, nil
}

// put shows a question until it is answered, or with once until the person's patience
// is over; here says that somebody answered.
func (j *job) put(ctx context.Context, q record.Question, once bool) (a record.Answer, here bool, err error) {
	if err := j.keep(record.Event{Question: &q}); err != nil {
		return a, false, err
	}
	for wait := j.patience(); ; {
		j.view.Phase, j.view.Question, j.view.Spot, j.view.Sentence = PhasePerson, &q, nil, q.Text
		j.show()
		r, err := attend(ctx, wait, j.Person.Reply)
		switch {
		case errors.Is(err, errPatience) && once:
			j.unasked()
			return a, false, nil
		case errors.Is(err, errPatience):
			if err := j.standDown(ctx); err != nil {
				return a, false, err
			}
			continue
		case err != nil:
			return a, false, err
		}
		if err := answers(q, r.Answer); err != nil {
			r.Done(err)
			continue
		}
		err = j.keep(record.Event{Answer: &r.Answer})
		j.unasked()
		r.Done(err)
		return r.Answer, true, err
	}
}

// unasked shows that the run works again.
func (j *job) unasked() {
	j.view.Phase, j.view.Question, j.view.Sentence = PhaseWorking, nil, sentences[j.view.Step]
	j.show()
}

// answers says whether an answer can be taken.
func answers(q record.Question, a record.Answer) error {
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
	return nil
}

// number is what a yes with a value said.
func number(a record.Answer) float64 {
	if a.Value == nil {
		return 0
	}
	return *a.Value
}
