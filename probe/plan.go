package probe

import (
	"time"

	"abbed/probe/record"
)

// Plan is how much a run measures. See DefaultPlan for what each costs.
type Plan struct {
	// Rounds is how often the repeat test goes round its four sides.
	Rounds int
	// Move is how far the head moves away between two touches of the repeat
	// test, mm in X and in Y.
	Move float64
	// RowHalf and RowStep are half the length of the row that is passed, and
	// the distance of its touches, mm; Passes is how often.
	RowHalf, RowStep float64
	Passes           int
	// Spacing is the largest distance of gauging places along X, mm; Records is
	// how many records each takes; Pairs how many touches stand before and
	// after each.
	Spacing float64
	Records int
	Pairs   int
	// GaugeColumns and GaugeRows are how many places along X the zero place's row
	// has in the full plan, and how many rows there are, that one among them; 0:
	// by Spacing, and three rows.
	GaugeColumns, GaugeRows int
	// Lean says that the gauging is planned as it goes: one record a place, few
	// places, More records beyond them at most, only until the largest u95 is at most
	// Target, mm.
	Lean   bool
	Target float64
	More   int
	// Patience is how long the person may do nothing before the nozzle is
	// raised.
	Patience time.Duration
	// Columns and Rows of the survey; the head returns to the base point after
	// every BaseEvery rows, and at the end.
	Columns, Rows int
	BaseEvery     int
	// Chosen says that what of these is 0 is chosen from the scatter and the
	// drift that the repeat test measured, for a half width of the left-right
	// profile of ProfileTarget, mm, and waves down to Finest, mm.
	Chosen        bool
	ProfileTarget float64
	Finest        float64
	// TurnedColumns and TurnedRows of the pattern on a turned plate.
	TurnedColumns, TurnedRows int
	// AnglePlaces is at how many places along X the tilt of the head is read.
	AnglePlaces int
	// CouponU is the standard uncertainty of a patch's thickness as a reading
	// of the gap, mm: its own roughness, the micrometer, the stored map there.
	CouponU float64
	// Earlier is the run that this one gauges more for: its places are those that the
	// earlier one still asks for. Nil for a run of its own.
	Earlier *Earlier
	// Inset is how far inside the reach the outermost places lie, mm.
	Inset float64
}

// DefaultPlan returns the defaults. On a printer that needs 3.5 s a touch: the
// repeat test 24 + 3 x 41 touches (9 min), the survey 25 x 7 and a return a
// row (11 min). 25 columns show a shape that bends four times; 7 rows tell what
// repeats from front to back. Two records a place tell the person's scatter. A
// turned plate takes 13 x 5 touches (4 min). A patch tells the gap to 0.012 mm:
// a bead's roughness, and the stored map between its nodes (common practice, no
// source).
func DefaultPlan() Plan {
	return Plan{
		Rounds: 6, Move: runUp, RowHalf: 60, RowStep: 3, Passes: 3,
		Spacing: 55, Records: 2, Pairs: 2, Target: 0.020, More: 5, Patience: 5 * time.Minute,
		Columns: 25, Rows: 7, BaseEvery: 1, ProfileTarget: 0.005, Finest: 55, Inset: 8,
		TurnedColumns: 13, TurnedRows: 5, AnglePlaces: 6, CouponU: record.PatchU,
	}
}

// spread returns n numbers from lo to hi, evenly; the middle for n = 1.
func spread(lo, hi float64, n int) []float64 {
	if n < 2 {
		return []float64{(lo + hi) / 2}
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return out
}

// row returns the places of the row that the repeat test passes: through the
// zero place, along +X, as far as reach and room allow.
func (p Plan) row(s record.Setup, room Room) []record.Place {
	lo, hi := s.Zero.U, s.Zero.U
	fits := func(u float64) bool {
		q := record.Place{U: u, V: s.Zero.V}
		return s.Probed().Has(q) && room.At(q) >= leastRoom+0.01
	}
	for hi+p.RowStep <= s.Zero.U+p.RowHalf && fits(hi+p.RowStep) {
		hi += p.RowStep
	}
	for lo-p.RowStep >= s.Zero.U-p.RowHalf && fits(lo-p.RowStep) {
		lo -= p.RowStep
	}
	var out []record.Place
	for k := 0; lo+float64(k)*p.RowStep <= hi+1e-9; k++ {
		out = append(out, record.Place{U: lo + float64(k)*p.RowStep, V: s.Zero.V})
	}
	return out
}

// rows returns the rows of the survey, each from the smallest X.
func (p Plan) rows(s record.Setup) [][]record.Place {
	r := s.Probed()
	var out [][]record.Place
	for _, v := range spread(r.Y0, r.Y1, p.Rows) {
		var row []record.Place
		for _, u := range p.surveyColumns(r) {
			row = append(row, record.Place{U: u, V: v})
		}
		out = append(out, row)
	}
	return out
}
