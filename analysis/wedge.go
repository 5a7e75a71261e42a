package analysis

import (
	"fmt"
	"math"

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
		return nil, &Reason{"no-lever", "the probe is the nozzle: there is no wedge to look for", ""}
	case v.Gap == nil && v.GapWhy != nil:
		return nil, v.GapWhy
	case v.Gap == nil || v.Gap.Area.W() < apart:
		return nil, &Reason{"few-places", "the gauged places do not span a width", "gauge at the left and right end"}
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
	way, ends := "rises", fmt.Sprintf("From x=%.0f to x=%.0f mm", w.From, w.To)
	if w.By.Value < 0 {
		way = "falls"
	}
	w.Sentence = fmt.Sprintf("%s the gap error %s by %s ±%s (95 %%): the first layer is a wedge of that height.", ends, way, um(math.Abs(w.By.Value)), um(w.By.U95()))
	if !w.By.Apart() {
		w.Sentence = fmt.Sprintf("%s no wedge is seen: %s ±%s (95 %%). One below %s would not show.", ends, um(w.By.Value), um(w.By.U95()), um(w.By.U95()))
	}
	switch {
	case sure > tolerance:
		w.Worth = WorthYes
		w.Sentence += fmt.Sprintf(" The whole job is worth it: somewhere in this row the nozzle is surely off by more than the tolerance of %s.", um(tolerance))
		w.Next = "Run repeat, gauging and survey: they say what makes it, and whether it can be corrected."
	case most <= tolerance:
		w.Worth = WorthNo
		w.Sentence += fmt.Sprintf(" The whole job is not worth it for this row: everywhere in it the nozzle is within the tolerance of %s, doubt and all.", um(tolerance))
		w.Next = "Nothing along X. What changes from front to back, and whether the machine does the same twice, this run does not tell."
	default:
		w.Worth = WorthOpen
		w.Sentence += fmt.Sprintf(" Whether the whole job is worth it cannot be told: the doubt reaches over the tolerance of %s.", um(tolerance))
		w.Next = "Gauge the ends of the row once more, or run the whole job, which gauges each place twice."
	}
}
