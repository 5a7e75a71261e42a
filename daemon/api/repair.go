package api

// AskRepair is what the repair desk has to be told; the zero value takes what the
// settings and the run say.
type AskRepair struct {
	Mounting float64 // length between the brackets of the beam, mm; 0: the gauged width
	Spacing  float64 // of a bracket's fasteners across the beam, mm; 0: 20
	Width    float64 // of the profile, mm; 0: 20
	Height   float64 // other side of the profile's section, mm; 0: as wide
	Rails    float64 // distance of two rails, mm; 0: one beam
	Supports []XY    // of the bed, mm; nil: those of the settings
	Pitch    float64 // a turn of their screws moves the bed by it, mm; 0: that of the settings
}

// Repair is what a person can do with tools. Each part is nil with its Why where
// the run does not tell it.
type Repair struct {
	Cautions []string     `json:"cautions" about:"before anything is done with tools"`
	Twist    *Twist       `json:"twist"`
	TwistWhy string       `json:"twist_why" about:"why there is none"`
	Tram     *Tram        `json:"tram"`
	TramWhy  string       `json:"tram_why" about:"why there is none"`
	Advice   []HandAdvice `json:"advice" about:"what to look for by hand"`
}

// Twist is the roll of the head along the beam, and what undoes it.
type Twist struct {
	From float64  `json:"from" about:"along X, mm"`
	To   float64  `json:"to" about:"mm"`
	Roll Measured `json:"roll"`
	// High is the side, back or front, that is too high at the right end; neither:
	// within its doubt, and there is nothing to shim.
	High     string  `json:"high_at_right" about:"the side that is too high at the right end" enum:"back,front,neither"`
	Mounting float64 `json:"mounting" about:"mm"`
	// Rocking is the gap under a bare profile's fourth corner on a flat reference;
	// BladeIn should go under it, BladeOut should not; 0: no blade of a usual set.
	Rocking    Measured `json:"rocking"`
	BladeIn    float64  `json:"blade_in" about:"goes under the free corner, mm; 0: none"`
	BladeOut   float64  `json:"blade_out" about:"does not, mm; 0: none"`
	AllowedDeg float64  `json:"allowed_deg" about:"ANSI H35.2, over the mounting length"`
	TwistDeg   Measured `json:"twist_deg"`
	Shim       Measured `json:"shim"`
	Under      string   `json:"under_at_right" about:"the side to shim"`
	// Rail is by how much RailSide has to be raised at its right end; nil: one beam.
	Rail     *Measured `json:"rail"`
	RailSide string    `json:"rail_side" about:"the rail to raise at its right end"`
	// Costs is the change of the gap error now, After what is predicted once a shim
	// of that thickness, to 0.01 mm, is in place.
	Costs Measured `json:"costs"`
	After Measured `json:"after"`
	Says  string   `json:"says" about:"for people"`
}

// Tram is how the bed's supports have to be moved, as the nozzle sees the bed.
type Tram struct {
	// SlopeX and SlopeY of the bed, mm per 100 mm: + rises to the right and back.
	SlopeX Measured `json:"slope_x"`
	SlopeY Measured `json:"slope_y"`
	// Drift is by how much all heights moved while the places were gauged, mm, taken
	// out of the slopes; nil where the places cannot tell it.
	Drift    *Measured     `json:"drift"`
	Off      float64       `json:"off_plane" about:"standard deviation of the nozzle's contacts about the plane, mm"`
	Pitch    float64       `json:"pitch" about:"mm"`
	Supports []TramSupport `json:"supports"`
	Says     string        `json:"says" about:"for people"`
}

// TramSupport is one support: + is up.
type TramSupport struct {
	X       float64  `json:"x"`
	Y       float64  `json:"y"`
	Up      Measured `json:"up"`
	Turns   Measured `json:"turns"`
	Sure    bool     `json:"sure" about:"more than its doubt"`
	Follows bool     `json:"follows" about:"three carry the plane; this one follows"`
	Says    string   `json:"says"`
}

// HandAdvice is what to look for by hand.
type HandAdvice struct {
	Title string   `json:"title"`
	Steps []string `json:"steps"`
}
