package analysis

// Profile is the survey taken apart: height = mean + column + row +
// interaction. Lengths are mm.
type Profile struct {
	// Columns are the left-right effects, from the smallest X.
	Columns []Effect `json:"columns"`
	// Rows are the front-back effects, from the smallest Y.
	Rows []Effect `json:"rows"`
	// Size is the peak-to-valley of the non-linear column effect, with its doubt.
	Size Measured `json:"size"`
	// Noise is the standard deviation of one height about column + row.
	Noise Measured `json:"noise"`
	// Interaction is the share of the shape's variance (beyond scatter) that
	// is neither column nor row, 0..1.
	Interaction float64 `json:"interaction"`
	// F and P test the non-linear column effect against Noise.
	F float64 `json:"f"`
	P float64 `json:"p"`
	// Significant says that the effect stands above its noise.
	Significant bool `json:"significant"`
	// Agreement is the correlation of Front and Back, -1..1.
	Agreement float64 `json:"agreement"`
}

// Effect is one column or row of a Profile.
type Effect struct {
	// At is its place along the axis.
	At float64 `json:"at"`
	// Effect is its mean height less the mean of all.
	Effect float64 `json:"effect"`
	// Bend is Effect less the straight line through all.
	Bend float64 `json:"bend"`
	// U is the standard uncertainty of Effect.
	U float64 `json:"u"`
	// Front and Back are the bends in the front and the back half of the bed
	// (columns only).
	Front float64 `json:"front"`
	Back  float64 `json:"back"`
	N     int     `json:"n"`
}
