package api

// ProofPrint is a file of single-layer patches, ready to be printed and measured.
type ProofPrint struct {
	Plan     string       `json:"plan" about:"names the layout"`
	Patches  []ProofPatch `json:"patches"`
	Size     float64      `json:"size" about:"mm"`
	Height   float64      `json:"height" about:"of the layer, mm"`
	Area     float64      `json:"area" about:"of a patch, mm2"`
	Cautions []string     `json:"cautions"`
	InForce  string       `json:"in_force" about:"the correction that it is to be printed with" enum:"none,map,file"`
	File     string       `json:"file" about:"the G-code"`
	A4       string       `json:"worksheet_a4" about:"HTML"`
	Letter   string       `json:"worksheet_letter" about:"HTML"`
}

// ProofPatch is one patch; U and V are its middle, mm.
type ProofPatch struct {
	N    int     `json:"n" about:"from 1"`
	U    float64 `json:"u" about:"mm"`
	V    float64 `json:"v" about:"mm"`
	Zero bool    `json:"zero" about:"stands at the zero point"`
}

// Thickness is the body of POST runs/{id}/thickness: micrometer readings of a proof
// print, as a list or as CSV.
type Thickness struct {
	Plan     string             `json:"worksheet,omitempty" about:"the plan that it names; needed where patches are named by number"`
	Readings []ThicknessReading `json:"readings,omitempty"`
	CSV      string             `json:"csv,omitempty" about:"in place of readings, or beside them: a header patch,thickness or u,v,thickness"`
	InForce  string             `json:"in_force" about:"whether a correction was in force while it was printed: in the printer's map, or carried into the file" enum:"none,map,file"`
	Person   string             `json:"person,omitempty" about:"who read"`
}

// ThicknessReading is one reading, mm, of the patch with a number, or at a place; or that
// its lines lie apart or are round on top (Gaps), without a thickness.
type ThicknessReading struct {
	Patch     int      `json:"patch,omitempty" about:"its number, or u and v"`
	U         *float64 `json:"u,omitempty" about:"mm"`
	V         *float64 `json:"v,omitempty" about:"mm"`
	Thickness float64  `json:"thickness,omitempty" about:"mm"`
	Gaps      bool     `json:"gaps,omitempty" about:"its lines lie apart or are round on top; then without thickness"`
}

// Proof is what the patches show.
type Proof struct {
	Verdict  string `json:"verdict" enum:"verified,wrong,agrees,contradicts,cannot-tell"`
	Sentence string `json:"sentence"`
	Doubt    string `json:"doubt"`
	Next     string `json:"next"`
	// Share of the measured gap error that the patches show; nil: not told.
	Share   *Measured  `json:"share"`
	Scatter *Measured  `json:"scatter"`
	Patches []LeftOver `json:"patches"`
	Gaps    []XY       `json:"gaps" about:"patches that have gaps"`
	Missing []XY       `json:"missing" about:"patches without a reading: nothing is verified with one"`
}

// LeftOver is the error at a patch against the zero place, mm.
type LeftOver struct {
	U         float64  `json:"u" about:"mm"`
	V         float64  `json:"v" about:"mm"`
	Readings  int      `json:"readings"`
	Thickness float64  `json:"thickness" about:"mean, mm"`
	Error     float64  `json:"error" about:"against the zero point, mm"`
	U95       float64  `json:"u95" about:"mm"`
	Predicted *float64 `json:"predicted" about:"nozzle error without a correction, mm"`
}
