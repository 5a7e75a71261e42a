package api

import "time"

// Node is a node of the correction table, mm.
type Node struct {
	I        int     `json:"i" about:"along X"`
	J        int     `json:"j" about:"along Y"`
	U        float64 `json:"u"`
	V        float64 `json:"v"`
	Before   float64 `json:"before" about:"the bed map"`
	Add      float64 `json:"add" about:"the correction"`
	U95      float64 `json:"u95" about:"its 95 % half width"`
	Doubtful bool    `json:"doubtful" about:"the bed map itself may be wrong here: what was touched nearby does not fit with all else"`
}

// Table is the correction of a run, or why there is none.
type Table struct {
	Digest   *string   `json:"digest" about:"what an approval is bound to; null if refused"`
	Run      string    `json:"run"`
	Nodes    []Node    `json:"nodes" about:"mm"`
	Cautions []Caution `json:"cautions" about:"to be confirmed at approval"`
	Refused  *Error    `json:"refused"`
	// Printer is the fingerprint of the printer that it was made for, Lever from
	// its nozzle to its probe, Area where its map has its first and last column
	// and row, mm; Made is when the run began. Nil if the table is refused.
	// Parent is the digest of the table that this one stands on, "" without one.
	// With the nodes these are what the digest is over, so that a file proves itself.
	Printer    string     `json:"printer" about:"fingerprint of the printer that it was made for"`
	Lever      *XY        `json:"lever"`
	Area       *Rect      `json:"area" about:"the map's first and last column and row, mm"`
	Parent     string     `json:"parent" about:"digest of the table that it stands on; empty: none"`
	Made       *time.Time `json:"made" about:"when the run began"`
	Limits     *Limits    `json:"limits" about:"the owner's limits under which it was offered"`
	Largest    float64    `json:"largest" about:"addition, mm"`
	Steepest   float64    `json:"steepest" about:"slope between neighbours, mm per 100 mm"`
	LargestU95 float64    `json:"largest_u95" about:"mm"`
	// Keeps is what keeping stores beside the map; nil if the printer prints no
	// settings.
	Keeps *Keeps `json:"keeps" about:"what keeping stores beside the map"`
}

// Limits are the owner's limits of what is offered: the largest correction, mm, the
// steepest slope between neighbours, mm per 100 mm, the largest doubt as a share of
// the largest correction.
type Limits struct {
	Largest    float64 `json:"largest" about:"mm"`
	Steepest   float64 `json:"steepest" about:"mm per 100 mm"`
	DoubtShare float64 `json:"doubt_share" about:"of the largest correction"`
}

// Keeps are the printer's settings as the run read them, and as the printer
// printed them after the last restart that was seen (nil: none was).
type Keeps struct {
	Now       string     `json:"now" about:"the printer's settings as the run read them"`
	AtRestart *string    `json:"at_restart" about:"as printed after the last restart that was seen"`
	At        *time.Time `json:"at"`
	Changed   []string   `json:"changed" about:"lines that only one has: - before, + now"`
}

// SignOff is the body of POST tables/{digest}/signoff.
type SignOff struct {
	Cautions []string `json:"cautions"`
	Person   string   `json:"person"`
}

// SignedOff is its answer: a token for this digest only, one use.
type SignedOff struct {
	Token   string    `json:"token"`
	Expires time.Time `json:"expires"`
}

// Apply is the body of POST tables/{digest}/apply.
type Apply struct {
	Token string `json:"token" wanted:"the token of an approval is wanted"`
}

// AppliedState is the state of what stands in the printer.
type AppliedState string

// States of what is applied.
const (
	NoneApplied AppliedState = "none"
	Writing     AppliedState = "writing"
	Verifying   AppliedState = "verifying"
	Kept        AppliedState = "kept"
	PutBack     AppliedState = "put-back"
	Undone      AppliedState = "undone"
	ApplyFailed AppliedState = "failed"
	Unfinished  AppliedState = "unfinished"
)

// Applied is what stands in the printer.
type Applied struct {
	State   AppliedState `json:"state" enum:"none,writing,verifying,kept,put-back,undone,failed,unfinished"`
	Digest  *string      `json:"digest"`
	Proved  bool         `json:"proved" about:"gauged with the correction in force"`
	Expired *string      `json:"expired" about:"why it no longer holds"`
	// Sentence says it for people; Error is why it failed.
	Sentence     string     `json:"sentence"`
	Error        *Error     `json:"error"`
	Progress     Progress   `json:"progress"`
	Since        *time.Time `json:"since"`
	Person       string     `json:"person,omitempty" about:"who signed it off"`
	Run          string     `json:"run,omitempty" about:"where it came from"`
	Half         bool       `json:"half,omitempty" about:"a write failed half way: take-back writes the old map back; absent if not"`
	MeasureAgain bool       `json:"measure_again,omitempty" about:"it no longer holds for what no re-apply mends; absent if not"`
}

// Resolve is the body of POST applied/resolve: finish or take-back.
type Resolve struct {
	Choice string `json:"choice" enum:"finish,take-back"`
}
