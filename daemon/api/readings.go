package api

// Readings is the body of POST runs/{id}/readings: what a person read from
// instruments of their own, one by one or as CSV, and touches along a straight
// reference.
type Readings struct {
	Readings []InstrumentReading `json:"readings,omitempty"`
	// CSV has the header quantity,x,y,value[,u].
	CSV       string        `json:"csv,omitempty"`
	Reference *ReferenceBar `json:"reference,omitempty"`
	// InForce is none, map or file: whether a correction was in force while
	// coupons were printed. Needed where there are any.
	InForce string `json:"in_force,omitempty"`
	Person  string `json:"person"`
}

// InstrumentReading is one value: quantity is coupon (mm), roll or pitch (deg), U
// and V the place, Doubt its standard uncertainty in the same unit.
type InstrumentReading struct {
	Quantity string  `json:"quantity"`
	U        float64 `json:"u"`
	V        float64 `json:"v"`
	Value    float64 `json:"value"`
	Doubt    float64 `json:"doubt,omitempty"`
}

// ReferenceBar is a straight reference and the touches along it, as CSV with the
// header x,y,z,repeat; mm.
type ReferenceBar struct {
	Thickness float64 `json:"thickness"`
	Straight  float64 `json:"straight"`
	CSV       string  `json:"csv"`
}

// ReadingsKept says what was kept with the run.
type ReadingsKept struct {
	Coupons int `json:"coupons"`
	Rolls   int `json:"rolls"`
	Pitches int `json:"pitches"`
	// Reference is how many touches of a straight reference.
	Reference int `json:"reference"`
	// Tells is which earlier readings they replace, and what they add to what the run
	// can tell.
	Tells []string `json:"tells"`
}
