package analysis

import (
	"fmt"

	"abbed/probe/record"
)

// otherwise is the latest later run that contradicts this one and was not taken back
// since: then what this run found may no longer hold.
func (v Verdict) otherwise() *Later {
	for i := len(v.Later) - 1; i >= 0; i-- {
		if l := &v.Later[i]; l.Contradicts && !l.Lifted {
			return l
		}
	}
	return nil
}

// Contradicted is why no number of the run's gap error is told: a later run contradicts
// it, and the records do not tell which of them holds; nil if none does.
func (v Verdict) Contradicted() *Reason {
	l := v.otherwise()
	if l == nil {
		return nil
	}
	return &Reason{Code: "contradicted",
		Text: fmt.Sprintf("%d readings of a later run contradict this run", l.Records),
		Hint: "take more readings for this run at the same points, or measure again",
	}
}

// Outdated returns why what a run found may no longer hold, as a clause: a later run
// contradicts it, or ended early with a finding; "" if neither.
func (v Verdict) Outdated(run record.Run) string {
	if l := v.otherwise(); l != nil {
		return fmt.Sprintf("%d readings of a later run contradict the run that it was made from: the head changed, the gauge was drawn in another way, or one reading is a slip", l.Records)
	}
	if c := cutLater(run); c != nil {
		return "a later run for the one that it was made from ended early with the finding " + c.Finding
	}
	return ""
}

// contradicted is the finding that a later run contradicts this one, if one does that
// was not taken back.
func (e evidence) contradicted() []Finding {
	l := e.otherwise()
	if l == nil {
		return nil
	}
	f := e.undetermined(otherwiseSays, otherwiseNext)
	f.Evidence = l.Text
	f.Doubt = "The readings do not show which. The other findings leave them out."
	return []Finding{f}
}

// otherwiseSays says it, otherwiseNext what to do then.
const otherwiseSays = "Later readings contradict this run. The head changed, the gauge was drawn in another way, or one reading is a slip."

const otherwiseNext = "Take more readings for this run once again, at the same points. If they contradict this run too, measure again."

// sayLater puts into the doubt of the first finding what became of later runs; one
// that contradicts has a finding of its own.
func (v Verdict) sayLater(fs []Finding) []Finding {
	if len(fs) == 0 {
		return fs
	}
	if v.otherwise() != nil && fs[0].Sentence != otherwiseSays {
		fs[0].Doubt += " Later readings contradict it."
	}
	for _, l := range v.Later {
		if !l.Contradicts || l.Lifted {
			fs[0].Doubt += " " + l.Text
		}
	}
	return fs
}

// cutLater is why the latest later run ended early, if that was a finding: what it
// met counts for this run too.
func cutLater(run record.Run) *record.Cut {
	var last record.Joined
	for _, j := range run.Joined {
		if j.Run >= last.Run {
			last = j
		}
	}
	if last.Cut == nil {
		return nil
	}
	c := *last.Cut
	c.Text = "A later run for this one ended early. " + c.Text
	return &c
}
