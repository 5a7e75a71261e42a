package api

// AskRepair is what the repair desk has to be told; the zero value takes what the
// settings and the run say.
type AskRepair struct {
	Mounting float64 // length between the brackets of the beam, mm; 0: not known
	Spacing  float64 // of a bracket's fasteners across the beam, mm; 0: 20
	Width    float64 // of the profile, mm; 0: 20
	Height   float64 // other side of the profile's section, mm; 0: as wide
	Rails    float64 // distance of two rails, mm; 0: one beam
	Supports []XY    // of the bed, mm; nil: those of the settings
	Pitch    float64 // a turn of their screws moves the bed by it, mm; 0: that of the settings
}

// Repair is what a person can do with tools, one step at a time in the order in which to
// do them.
type Repair struct {
	Cautions []string `json:"cautions"`
	// Largest is the largest nozzle error over the gauged area now, its size; nil where it
	// is not known.
	Largest *Measured    `json:"largest"`
	Steps   []RepairStep `json:"steps"`
	// Why says why there is no step, Missing what to say to get more of them; or "".
	Why     string `json:"why"`
	Missing string `json:"missing"`
}

// RepairStep is one act with tools, and what to measure after it.
type RepairStep struct {
	// ID is wheels, play, other, y-axis, undo, brackets, profile, shim, beam, pitch,
	// angles, measure, screws, z-offset or correct.
	ID string `json:"id"`
	// Title is the act, Do how to do it, Then what has to come of it.
	Title string   `json:"title"`
	Do    []string `json:"do"`
	Then  string   `json:"then"`
	// Amount is the thickness of a shim, the gap that a profile rocks by, or how far the
	// Z offset moves, mm; nil for none.
	Amount *Measured `json:"amount"`
	// Left is the largest nozzle error that is predicted after it; nil: not predicted.
	Left *Measured `json:"left"`
	// Screws are those of the bed, in the order in which to turn them.
	Screws []Screw `json:"screws,omitempty"`
}

// Screw is one support of the bed: + is up.
type Screw struct {
	X     float64  `json:"x"`
	Y     float64  `json:"y"`
	Up    Measured `json:"up"`
	Turns Measured `json:"turns"`
	// Eighths of a turn; 0: leave it.
	Eighths int    `json:"eighths"`
	Says    string `json:"says"`
}
