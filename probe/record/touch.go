package record

// Series says what a touch was made for.
type Series string

// Series of touches.
const (
	// SeriesRepeat is the repeat test near the middle: one place, real moves
	// between touches, from each side in turn.
	SeriesRepeat Series = "repeat"
	// SeriesRow is a pass of the repeat test over one row; Pass counts 0, 1, 2.
	SeriesRow Series = "row"
	// SeriesPair is a touch made just before or after a gauging, at its place;
	// Spot names the place, Pass the visit (touches of visit k stand before
	// record k of the place, those of visit k+1 after it).
	SeriesPair Series = "pair"
	// SeriesSurvey is the dense pattern; Pass counts rows.
	SeriesSurvey Series = "survey"
	// SeriesBase is a return to the base point during the survey.
	SeriesBase Series = "base"
	// SeriesHalfTurn and SeriesQuarterTurn are the pattern on the plate turned by
	// 180 and by 90 deg; Pass counts rows.
	SeriesHalfTurn    Series = "half-turn"
	SeriesQuarterTurn Series = "quarter-turn"
	// SeriesReference is a pass over a straight reference; Pass counts passes.
	SeriesReference Series = "reference"
	// SeriesStray is a touch that cannot be of the bed, by all others of the run: it is
	// kept, and nothing rests on it.
	SeriesStray Series = "stray"
	// SeriesGiven is a touch from a file that does not say what it is for.
	SeriesGiven Series = "given"
)

// Side is the side from which the head came to a touch: -1 from the smaller
// coordinate (travelling towards +), +1 from the larger, 0 not along this axis
// or not known.
type Side struct {
	X int8 `json:"x"`
	Y int8 `json:"y"`
}

// Touch is one contact of the probe with the bed.
type Touch struct {
	// N is the number of its event.
	N int64 `json:"n"`
	// T is when, s since the run's start.
	T float64 `json:"t"`
	// Place is where the probe touched.
	Place Place `json:"place"`
	// Z is the height in the stored map's Z, mm: about 0 where the Z offset
	// was set.
	Z float64 `json:"z"`
	// Side is where the head came from.
	Side   Side   `json:"side"`
	Series Series `json:"series"`
	// Pass is the pass, row or visit within the series, from 0.
	Pass int `json:"pass"`
	// Index is the order within the series, from 0.
	Index int `json:"index"`
	// Spot is the gauging place of a pair, -1 otherwise.
	Spot int `json:"spot"`
	// Step is the step to which the printer reported Z, mm; 0 if not known.
	Step float64 `json:"step,omitempty"`
	// Levelled says that it was made with the stored levelling on.
	Levelled bool `json:"levelled,omitempty"`
}

// Gauging is one record of a person's blade under the nozzle.
type Gauging struct {
	// N is the number of its event.
	N int64 `json:"n"`
	// T is when, s since the run's start.
	T float64 `json:"t"`
	// Spot counts the places of the plan, from 0 (the zero place).
	Spot  int   `json:"spot"`
	Place Place `json:"place"`
	// Visit counts the records of this place, from 0.
	Visit int `json:"visit"`
	// Z is the height of the nozzle with the blade just dragging, mm, in the
	// machine's Z with levelling off.
	Z float64 `json:"z"`
	// Blade is the blade's thickness, mm: the bed is at Z - Blade.
	Blade float64 `json:"blade"`
	// Predicted is the bed contact that was expected, mm.
	Predicted float64 `json:"predicted"`
	// Presses counts the lowerings of this visit.
	Presses int `json:"presses"`
	// Step is the lowering that made the blade drag, mm: contact lies between Z
	// and Z + Step. 0 where it is not known.
	Step float64 `json:"step,omitempty"`
	// Levelled says that it was made with the stored levelling on, as a proof's is.
	Levelled bool `json:"levelled,omitempty"`
}

// Map is the stored map as the printer printed it.
type Map struct {
	N int64   `json:"n"`
	T float64 `json:"t"`
	// Nodes are the heights, um: rows along J from the smallest Y, columns
	// along I from the smallest X. Never ragged.
	Nodes [][]int64 `json:"nodes"`
}

// Size returns the number of columns (I) and rows (J).
func (m Map) Size() (columns, rows int) {
	if len(m.Nodes) == 0 {
		return 0, 0
	}
	return len(m.Nodes[0]), len(m.Nodes)
}

// NodePlace returns where node (i, j) of a map of the given size lies in area.
// It panics if the size has fewer than two columns or rows.
func NodePlace(area Rect, columns, rows, i, j int) Place {
	if columns < 2 || rows < 2 {
		panic("record: a bed map needs two columns and two rows")
	}
	return Place{
		U: area.X0 + area.W()*float64(i)/float64(columns-1),
		V: area.Y0 + area.H()*float64(j)/float64(rows-1),
	}
}
