package api

// Repair is what a person can do with tools, one step at a time in the order in which to
// do them.
type Repair struct {
	Cautions []string     `json:"cautions" about:"before anything is done with tools"`
	Largest  *Measured    `json:"largest" about:"the largest nozzle error over the gauged area now, its size; null where it is not known"`
	Steps    []RepairStep `json:"steps" about:"one act at a time, in the order in which to do them"`
	Why      string       `json:"why" about:"why there is no step; empty where there is one"`
	Missing  string       `json:"missing" about:"what to say to get more steps; empty for nothing"`
}

// RepairStep is one act with tools, and what to measure after it.
type RepairStep struct {
	ID     string    `json:"id" enum:"wheels,play,other,y-axis,undo,brackets,profile,shim,beam,pitch,angles,measure,screws,z-offset,correct"`
	Title  string    `json:"title" about:"the act"`
	Do     []string  `json:"do" about:"how to do it"`
	Then   string    `json:"then" about:"what has to come of it"`
	Amount *Measured `json:"amount" about:"thickness of a shim, gap that a profile rocks by, or how far the Z offset moves, mm"`
	Left   *Measured `json:"left" about:"largest nozzle error that is predicted after it"`
	Screws []Screw   `json:"screws,omitempty" about:"of the bed, in the order in which to turn them"`
}

// Screw is one support of the bed: + is up.
type Screw struct {
	X       float64  `json:"x"`
	Y       float64  `json:"y"`
	Up      Measured `json:"up"`
	Turns   Measured `json:"turns"`
	Eighths int      `json:"eighths" about:"of a turn, below zero: the bed goes down; 0: leave it" minimum:"-1000"`
	Says    string   `json:"says"`
}
