package api

// Readings is the body of POST runs/{id}/readings: what a person read from
// instruments of their own, one by one or as CSV, and touches along a straight
// reference.
type Readings struct {
	Readings  []InstrumentReading `json:"readings,omitempty"`
	CSV       string              `json:"csv,omitempty" about:"in place of readings, or beside them: a header quantity,x,y,value,u"`
	Reference *ReferenceBar       `json:"reference,omitempty"`
	InForce   string              `json:"in_force,omitempty" about:"whether a correction was in force while coupons were printed; needed with coupons" enum:"none,map,file"`
	Person    string              `json:"person,omitempty" about:"who read"`
}

// InstrumentReading is one value: quantity is coupon (mm), roll or pitch (deg), U
// and V the place, Doubt its standard uncertainty in the same unit.
type InstrumentReading struct {
	Quantity string  `json:"quantity" about:"of a patch, mm; of the head, deg" enum:"coupon,roll,pitch"`
	U        float64 `json:"u" about:"where the patch is, or the nozzle stood, mm"`
	V        float64 `json:"v" about:"mm"`
	Value    float64 `json:"value" about:"mm or deg"`
	Doubt    float64 `json:"doubt,omitempty" about:"its standard uncertainty, mm or deg; coupons without one have 0.012 mm"`
}

// ReferenceBar is a straight reference and the touches along it, as CSV with the
// header x,y,z,repeat; mm.
type ReferenceBar struct {
	Thickness float64 `json:"thickness" about:"of the bar, mm"`
	Straight  float64 `json:"straight" about:"the zone that its grade allows, mm"`
	CSV       string  `json:"csv" about:"touches along it: a header x,y,z,repeat; every place passed twice"`
}

// ReadingsKept says what was kept with the run.
type ReadingsKept struct {
	Coupons   int      `json:"coupons"`
	Rolls     int      `json:"rolls"`
	Pitches   int      `json:"pitches"`
	Reference int      `json:"reference" about:"touches of a straight reference"`
	Tells     []string `json:"tells" about:"which earlier readings no longer count; what can be told now, and by what"`
}
