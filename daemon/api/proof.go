package api

// ProofPrint is a file of single-layer patches, ready to be printed and measured.
type ProofPrint struct {
	// Plan names the layout that the numbers of the patches belong to.
	Plan    string       `json:"plan"`
	Patches []ProofPatch `json:"patches"`
	// Size of a patch and Height of its layer, mm; Area of one as printed, mm2.
	Size     float64  `json:"size"`
	Height   float64  `json:"height"`
	Area     float64  `json:"area"`
	Cautions []string `json:"cautions"`
	// InForce is the correction that it is to be printed with: none, map or file.
	InForce string `json:"in_force"`
	// File is the G-code; A4 and Letter are worksheets in HTML.
	File   string `json:"file"`
	A4     string `json:"worksheet_a4"`
	Letter string `json:"worksheet_letter"`
}

// ProofPatch is one patch; U and V are its middle, mm.
type ProofPatch struct {
	N    int     `json:"n"`
	U    float64 `json:"u"`
	V    float64 `json:"v"`
	Zero bool    `json:"zero"`
}

// Thickness is the body of POST runs/{id}/thickness: micrometer readings of a proof
// print, as a list or as CSV.
type Thickness struct {
	// Plan is the one that the worksheet names, needed where a reading names its
	// patch by number.
	Plan     string             `json:"worksheet,omitempty"`
	Readings []ThicknessReading `json:"readings,omitempty"`
	CSV      string             `json:"csv,omitempty"`
	// InForce is none, map (a correction stands in the printer's map) or file (one
	// was carried into the printed file).
	InForce string `json:"in_force"`
	Person  string `json:"person"`
}

// ThicknessReading is one reading, mm, of the patch with a number, or at a place; or that
// its lines lie apart or are round on top (Gaps), without a thickness.
type ThicknessReading struct {
	Patch     int      `json:"patch,omitempty"`
	U         *float64 `json:"u,omitempty"`
	V         *float64 `json:"v,omitempty"`
	Thickness float64  `json:"thickness,omitempty"`
	Gaps      bool     `json:"gaps,omitempty"`
}

// Proof is what the patches show.
type Proof struct {
	// Verdict is verified, wrong, agrees, contradicts or cannot-tell.
	Verdict  string `json:"verdict"`
	Sentence string `json:"sentence"`
	Doubt    string `json:"doubt"`
	Next     string `json:"next"`
	// Share of the measured gap error that the patches show; nil: not told.
	Share   *Measured  `json:"share"`
	Scatter *Measured  `json:"scatter"`
	Patches []LeftOver `json:"patches"`
	// Gaps are the places of patches that have gaps, Missing those without a reading.
	Gaps    []XY `json:"gaps"`
	Missing []XY `json:"missing"`
}

// LeftOver is the error at a patch against the zero place, mm.
type LeftOver struct {
	U         float64  `json:"u"`
	V         float64  `json:"v"`
	Readings  int      `json:"readings"`
	Thickness float64  `json:"thickness"`
	Error     float64  `json:"error"`
	U95       float64  `json:"u95"`
	Predicted *float64 `json:"predicted"`
}
