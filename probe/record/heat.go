package record

// Heat is what a run heats on request, degrees C; 0 heats nothing.
type Heat struct {
	Nozzle float64 `json:"nozzle"`
	Bed    float64 `json:"bed"`
}

// Any reports whether anything is heated.
func (h Heat) Any() bool { return h.Nozzle > 0 || h.Bed > 0 }

// Warmth is what the printer said of its temperatures when a step began or a run
// ended, degrees C. A target of 0 is none.
type Warmth struct {
	Step         Step    `json:"step"`
	T            float64 `json:"t,omitempty"` // s since the run's start
	Nozzle       float64 `json:"nozzle"`
	NozzleTarget float64 `json:"nozzle_target"`
	Bed          float64 `json:"bed"`
	BedTarget    float64 `json:"bed_target"`
}
