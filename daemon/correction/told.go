package correction

import (
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/store"
)

// Applied says what stands in the printer.
func (d *Correction) Applied() api.Applied {
	d.mu.Lock()
	a, busy, progress := d.applied, d.busy, d.progress
	d.mu.Unlock()
	out := api.Applied{State: api.NoneApplied, Sentence: "No correction is in force."}
	if a.Digest == "" {
		return out
	}
	digest, since := a.Digest, a.At
	out = api.Applied{
		State: api.AppliedState(a.State), Digest: &digest, Proved: a.Proved && a.State == store.Kept, Person: a.Person, Run: a.Run,
		Sentence: appliedSays[a.State],
	}
	if !since.IsZero() {
		out.Since = &since
	}
	if busy {
		out.Progress = progress
		if a.State != store.Writing {
			out.State, out.Sentence = api.Verifying, appliedSays[store.Verifying] // until the printer is given back
		}
	} else if a.State == store.Writing || a.State == store.Verifying {
		out.State, out.Sentence = api.Unfinished, appliedSays[store.Unfinished]
	}
	if a.Undo && busy {
		out.Sentence = "abbed writes the old bed map back."
	}
	if a.State == store.Failed && a.Half() && !busy {
		out.Half = true
		out.Sentence = "Look at the printer, then undo the correction. It is half written. If that fails too, measure the bed map again with the printer."
	}
	if why := d.expiry(a); why != "" {
		out.Expired, out.MeasureAgain = &why, why == printerOther || d.worn(a) != ""
	}
	if out.Expired != nil && a.State == store.Kept {
		out.Sentence = "The correction no longer holds. " + say.Sentence(*out.Expired)
	}
	if a.Says != "" && !a.State.Open() && !busy && out.Expired == nil {
		out.Sentence = a.Says
	}
	if a.State == store.Kept && a.Proved && out.Expired == nil {
		out.Sentence = "The correction is in force and verified."
	}
	if a.Code != "" {
		out.Error = &api.Error{Code: a.Code, Text: a.Text, Hint: a.Hint}
	}
	return out
}

var appliedSays = map[store.State]string{
	store.Writing:    "abbed writes the correction.",
	store.Verifying:  "abbed reads the bed map back and compares.",
	store.Kept:       "The correction is in force, and not verified. Watch the next first layer.",
	store.PutBack:    "The correction is not in force. abbed wrote the old bed map back and checked it.",
	store.Undone:     "The correction is undone. The old bed map is in force again.",
	store.Failed:     "Do not print. The bed map is unknown: measure it again with the printer.",
	store.Unfinished: "Finish the correction or undo it. It may be half written.",
}
