package record

// Criteria are the thresholds by which a run is judged, with the defaults and
// the reasons of DefaultCriteria. They travel with the run, so that an old run
// is judged again by its own.
type Criteria struct {
	// Tolerance is the largest |g| + u95 that a first layer bears, mm.
	Tolerance float64 `json:"tolerance"`
	// Scatter is the largest standard deviation of the probe, mm.
	Scatter float64 `json:"scatter"`
	// Play is the largest reversal value (ISO 230-2 B), mm.
	Play float64 `json:"play"`
	// Wander is the largest standard deviation between passes of one row that
	// scatter does not explain, mm.
	Wander float64 `json:"wander"`
	// DriftRate is the largest drift that can be removed, mm per minute.
	DriftRate float64 `json:"drift_rate"`
	// DriftLeft is the largest uncertainty that removing it may leave, mm.
	DriftLeft float64 `json:"drift_left"`
	// DriftSaid is the drift over a run from which it is said, mm.
	DriftSaid float64 `json:"drift_said"`
	// Largest is the largest correction that is offered, mm.
	Largest float64 `json:"largest"`
	// Steepest is the steepest slope between neighbouring nodes, mm per mm.
	Steepest float64 `json:"steepest"`
	// DoubtShare is the largest u95 as a share of the largest correction.
	DoubtShare float64 `json:"doubt_share"`
	// GaugeU is the standard uncertainty of one gauging with a blade beyond
	// its scatter (the blade's thickness, its bend, the touch), mm, Type B.
	GaugeU float64 `json:"gauge_u"`
	// GaugeScatter is the scatter of one gauging that is expected before any
	// repeat is there, standard deviation, mm.
	GaugeScatter float64 `json:"gauge_scatter"`
	// GaugedMargin is how far beyond the outermost gauged places the gap error
	// is still given, mm.
	GaugedMargin float64 `json:"gauged_margin"`
	// NodeReach is how far beyond the gauged area a node may lie, mm.
	NodeReach float64 `json:"node_reach"`
	// WheelLeast and WheelMost bound the circumference of the wheels' rolling
	// circle, mm; BeltTurn is a turn of the belt's pulley, ScrewLead that of a
	// screw, mm: what else a period along X may come from.
	WheelLeast float64 `json:"wheel_least"`
	WheelMost  float64 `json:"wheel_most"`
	BeltTurn   float64 `json:"belt_turn"`
	ScrewLead  float64 `json:"screw_lead"`
	// MapDiffers is the least difference between stored map and survey that
	// makes the map stale, mm.
	MapDiffers float64 `json:"map_differs"`
}

// DefaultCriteria returns the defaults.
//
// Tolerance 0.03 mm, Largest 0.5 mm, Steepest 0.3 mm per 100 mm, DoubtShare
// 0.5, GaugedMargin 15 mm, NodeReach 60 mm and MapDiffers 0.03 mm are the
// project's design values. Scatter 0.015 mm: three times a good probe's 5 um,
// half the tolerance. Play and Wander 0.020 mm: two thirds of the tolerance,
// above what four touches a side of a good probe can feign. GaugeScatter
// 0.010 mm and GaugeU 0.003 mm: a person's drag at a blade, and a blade's
// thickness (common practice, no source). WheelLeast 55 and WheelMost 80 mm: V
// wheels of 24 mm outside roll on a smaller circle that nobody knows; BeltTurn
// 40 mm: twenty teeth of 2 mm; ScrewLead 8 mm: four starts (shop facts).
func DefaultCriteria() Criteria {
	return Criteria{
		Tolerance: 0.030, Scatter: 0.015, Play: 0.020, Wander: 0.020,
		DriftRate: 0.010, DriftLeft: 0.010, DriftSaid: 0.010,
		Largest: 0.5, Steepest: 0.003, DoubtShare: 0.5,
		GaugeU: 0.003, GaugeScatter: 0.010,
		GaugedMargin: 15, NodeReach: 60, MapDiffers: 0.030,
		WheelLeast: 55, WheelMost: 80, BeltTurn: 40, ScrewLead: 8,
	}
}

// WithLargest returns the criteria for another largest correction; a larger one may be
// as much steeper.
func (c Criteria) WithLargest(mm float64) Criteria {
	c.Steepest *= max(1, mm/c.Largest)
	c.Largest = mm
	return c
}

// Paper instead of a blade. PaperU is what all gaugings with one sheet and one hand
// share: office paper of 75 to 90 g/m2 is 0.10 to 0.115 mm (75 g/m2: 51.5 mm per 500
// sheets, read), and nobody knows which lies there: +-0.010 mm as a rectangle, 0.006
// mm; how hard a pull counts, and how far the sheet gives way under the nozzle,
// differs from person to person: 0.008 mm; together 0.010 mm. PaperScatter is what
// differs from one gauging to the next: its drag is felt less sharply than a
// blade's. Common practice, no source.
const (
	PaperU       = 0.010
	PaperScatter = 0.015
)

// WithPaper returns the criteria for gaugings with a sheet of paper. One sheet
// serves the whole run, so that its thickness is in the level and not in the
// contrasts; its drag scatters from place to place.
func (c Criteria) WithPaper() Criteria {
	c.GaugeU, c.GaugeScatter = max(c.GaugeU, PaperU), max(c.GaugeScatter, PaperScatter)
	return c
}
