package analysis

import (
	"fmt"
	"math"

	"abbed/config/say"
	"abbed/probe/record"
)

// Wedge is the five-minute answer: how far the gap error rises from the left to
// the right end of the gauged width, and whether the whole job is worth it.
type Wedge struct {
	// From and To are the ends, Row their y, mm.
	From, To, Row float64
	// By is the gap error at To less that at From, mm: + = the nozzle is higher at
	// the right.
	By Measured
	// Worth is Yes, No or CannotTell.
	Worth    string
	Sentence string
	Next     string
}

// Whether the whole job is worth it.
const (
	WorthYes  = "yes"
	WorthNo   = "no"
	WorthOpen = "cannot-tell"
)

// Wedge returns the five-minute answer, or the reason why a run gives none.
func (v Verdict) Wedge(run record.Run) (*Wedge, *Reason) {
	run = clean(run)
	switch {
	case run.Setup.NoLever():
		return nil, &Reason{"no-lever", "the probe is the nozzle", ""}
	case v.Gap == nil && v.GapWhy != nil:
		return nil, v.GapWhy
	case v.Gap == nil || v.Gap.Area.W() < apart:
		return nil, &Reason{"few-places", "the points do not span a width", "gauge at the left and right end"}
	}
	a := v.Gap.Area
	w := &Wedge{From: a.X0, To: a.X1, Row: run.Setup.Zero.V}
	if !a.Grown(v.Gap.Margin).Has(record.Place{U: a.X0, V: w.Row}) {
		w.Row = a.Middle().V
	}
	w.By = v.Gap.told(record.Place{U: a.X1, V: w.Row}, record.Place{U: a.X0, V: w.Row})
	w.judge(v, run)
	return w, nil
}

// judge says whether the whole job is worth it: the largest gap error in the
// gauged row against the tolerance.
func (w *Wedge) judge(v Verdict, run record.Run) {
	tolerance := run.Setup.Criteria.Tolerance
	sure, most := 0.0, 0.0
	for i := range 17 {
		g, u := v.Gap.at(record.Place{U: w.From + (w.To-w.From)*float64(i)/16, V: w.Row})
		sure, most = math.Max(sure, math.Abs(g)-u), math.Max(most, math.Abs(g)+u)
	}
	way, ends := "rises", fmt.Sprintf("From X %.0f to X %.0f", w.From, w.To)
	if w.By.Value < 0 {
		way = "falls"
	}
	w.Sentence = fmt.Sprintf("%s the nozzle error %s by %s.", ends, way, say.Within(math.Abs(w.By.Value), w.By.U95()))
	if !w.By.Apart() {
		w.Sentence = fmt.Sprintf("%s the nozzle error does not change by more than %s.", ends, say.MM(math.Abs(w.By.Value)+w.By.U95()))
	}
	switch {
	case sure > tolerance:
		w.Worth = WorthYes
		w.Sentence += fmt.Sprintf(" Somewhere in this row it is more than %s.", say.MM(tolerance))
		w.Next = "Measure with all steps: they show the cause, and whether it can be corrected."
	case most <= tolerance:
		w.Worth = WorthNo
		w.Sentence += fmt.Sprintf(" Everywhere in this row it is within %s.", say.MM(tolerance))
		w.Next = "Leave it along X. This run does not show what changes from front to back."
	default:
		w.Worth = WorthOpen
		w.Sentence += fmt.Sprintf(" It is not known well enough to compare it with %s.", say.MM(tolerance))
		w.Next = "Gauge the ends of the row once more, or measure with all steps."
	}
}
