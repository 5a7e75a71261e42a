package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Wedge is the five-minute answer: how far the gap error rises from the left to
// the right end of the gauged width, and whether the whole job is worth it.
type Wedge struct {
	// From and To are the ends of the gauged row, Row its y, mm.
	From float64 `json:"from" about:"x, mm"`
	To   float64 `json:"to" about:"x, mm"`
	Row  float64 `json:"row" about:"y, mm"`
	// By is the gap error at To less that at From, mm: + = the nozzle is higher at
	// the right.
	By result.Measured `json:"by"`
	// Worth is Yes, No or CannotTell.
	Worth    string `json:"worth" about:"whether the whole job is worth it" enum:"yes,no,cannot-tell"`
	Sentence string `json:"sentence"`
	Next     string `json:"next"`
}

// Whether the whole job is worth it.
const (
	WorthYes  = "yes"
	WorthNo   = "no"
	WorthOpen = "cannot-tell"
)

// Wedge returns the five-minute answer, or the reason why a run gives none.
func (v Verdict) Wedge(run record.Run) (*Wedge, *record.Problem) {
	run = steady.Clean(run)
	switch {
	case run.Setup.NoLever():
		return nil, &record.Problem{Code: "no-lever", Text: "the probe is the nozzle: there is no wedge to look for", Hint: ""}
	case v.Gap == nil && v.GapWhy != nil:
		return nil, v.GapWhy
	case v.Gap == nil || v.Gap.Area.W() < steady.Apart:
		return nil, &record.Problem{Code: "few-places", Text: "the gauged places do not span a width", Hint: "gauge at the left and right end"}
	}
	a := v.Gap.Area
	w := &Wedge{From: a.X0, To: a.X1, Row: run.Setup.Zero.V}
	if !a.Grown(v.Gap.Margin).Has(record.Place{U: a.X0, V: w.Row}) {
		w.Row = a.Middle().V
	}
	w.By = v.Gap.Against(record.Place{U: a.X1, V: w.Row}, record.Place{U: a.X0, V: w.Row})
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
	ends, limit := fmt.Sprintf("From X %s to X %s", say.Short(w.From), say.Short(w.To)), say.MM(tolerance)
	way := "rises"
	if w.By.Value < 0 {
		way = "falls"
	}
	w.Sentence = fmt.Sprintf("%s the nozzle error %s by %s: the first layer is a wedge.", ends, way, say.Within(math.Abs(w.By.Value), w.By.U95()))
	if !w.By.Apart() {
		w.Sentence = fmt.Sprintf("%s no wedge is seen. One below %s does not show.", ends, say.MM(math.Abs(w.By.Value)+w.By.U95()))
	}
	switch {
	case sure > tolerance:
		w.Worth = WorthYes
		w.Sentence += fmt.Sprintf(" The whole job is worth it: in this row the nozzle is off by more than %s.", limit)
		w.Next = "Run repeat, gauging and survey. They show the cause, and whether a correction helps."
	case most <= tolerance:
		w.Worth = WorthNo
		w.Sentence += fmt.Sprintf(" The whole job is not worth it for this row: the nozzle is within %s everywhere.", limit)
		w.Next = "Along X there is nothing to do. This run does not show what changes from front to back."
	default:
		w.Worth = WorthOpen
		w.Sentence += fmt.Sprintf(" Whether the nozzle is within %s is not known.", limit)
		w.Next = "Take the readings at the ends of the row again, or run the whole job."
	}
}

// Rates are how fast the head tilts on its way along X, rad per mm; each with a
// 95 % interval. One lever tells one of them at most.
type Rates struct {
	// Twist is the change of the head's roll per way, told by a lever along Y;
	// nil if not told.
	Twist *result.Measured
	// Pitch is the change of the head's pitch per way, told by a lever along X;
	// nil if not told. The straightness of the beam costs the same and is in it.
	Pitch *result.Measured
}

// Rates returns how fast the head tilts along X, from end to end of the gauged
// width at its middle row: with g = -py a + px b (doc.go),
//
//	twist = -(g(right) - g(left)) / (py W)      pitch = (g(right) - g(left)) / (px W)
//
// An even roll of the Y axis costs the same as the twist and is in it; a bend
// that comes back to where it began is not. Both are nil without a Gap, without
// two columns, and for an oblique lever, whose roll and pitch both fit.
func (v Verdict) Rates(l record.Lever) (r Rates) {
	if v.Gap == nil || v.Gap.Area.W() < steady.Apart || l.None() {
		return r
	}
	change := v.Gap.slopeAt(v.Gap.Area.Middle().V)
	switch m := change.Times(1/v.Gap.Area.W(), "rad/mm"); Pointing(l) {
	case alongY:
		m = m.Times(-1/l.Y, m.Unit)
		r.Twist = &m
	case AlongX:
		m = m.Times(1/l.X, m.Unit)
		r.Pitch = &m
	}
	return r
}

// slopeAt is the left-right slope of the gap error in a row: right end less left end of
// the gauged width.
func (g *Gap) slopeAt(v float64) result.Measured {
	gap, u95 := g.surface.contrast(record.Place{U: g.Area.X1, V: v}, record.Place{U: g.Area.X0, V: v})
	return result.Of(gap, u95/result.Z95, math.Inf(1), "mm")
}
