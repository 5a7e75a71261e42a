package api

import "time"

// Node is a node of the correction table, mm.
type Node struct {
	I      int     `json:"i"`
	J      int     `json:"j"`
	U      float64 `json:"u"`
	V      float64 `json:"v"`
	Before float64 `json:"before"`
	Add    float64 `json:"add"`
	U95    float64 `json:"u95"`
}

// Table is the correction of a run, or why there is none.
type Table struct {
	// Digest is nil if the table is refused.
	Digest   *string   `json:"digest"`
	Run      string    `json:"run"`
	Nodes    []Node    `json:"nodes"`
	Cautions []Caution `json:"cautions"`
	Refused  *Error    `json:"refused"`
	// Printer is the fingerprint of the printer that it was made for, Lever from
	// its nozzle to its probe, Area where its map has its first and last column
	// and row, mm; Made is when the run began. Nil if the table is refused.
	// Parent is the digest of the table that this one stands on, "" without one.
	// With the nodes these are what the digest is over, so that a file proves itself.
	Printer string     `json:"printer"`
	Lever   *XY        `json:"lever"`
	Area    *Rect      `json:"area"`
	Parent  string     `json:"parent"`
	Made    *time.Time `json:"made"`
	// Limits are those of the owner's settings under which it was offered.
	Limits *Limits `json:"limits"`
	// Largest addition, mm; Steepest slope between neighbours, mm per 100 mm;
	// LargestU95 among the nodes, mm.
	Largest    float64 `json:"largest"`
	Steepest   float64 `json:"steepest"`
	LargestU95 float64 `json:"largest_u95"`
	// Keeps is what keeping stores beside the map; nil if the printer prints no
	// settings.
	Keeps *Keeps `json:"keeps"`
}

// Limits are the owner's limits of what is offered: the largest correction, mm, the
// steepest slope between neighbours, mm per 100 mm, the largest doubt as a share of
// the largest correction.
type Limits struct {
	Largest    float64 `json:"largest"`
	Steepest   float64 `json:"steepest"`
	DoubtShare float64 `json:"doubt_share"`
}

// Keeps are the printer's settings as the run read them, and as the printer
// printed them after the last restart that was seen (nil: none was).
type Keeps struct {
	Now       string     `json:"now"`
	AtRestart *string    `json:"at_restart"`
	At        *time.Time `json:"at"`
	// Changed are the lines that only one of the two has: "- " before those of
	// the restart, "+ " before those of now.
	Changed []string `json:"changed"`
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
	Token string `json:"token"`
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
	State   AppliedState `json:"state"`
	Digest  *string      `json:"digest"`
	Proved  bool         `json:"proved"`
	Expired *string      `json:"expired"`
	// Sentence says it for people; Error is why it failed.
	Sentence string     `json:"sentence"`
	Error    *Error     `json:"error"`
	Progress Progress   `json:"progress"`
	Since    *time.Time `json:"since"`
	Person   string     `json:"person,omitempty"`
	Run      string     `json:"run,omitempty"`
	// Half says that a write failed half way: take-back writes the old map back.
	Half bool `json:"half,omitempty"`
	// MeasureAgain says that it no longer holds for what no re-apply mends.
	MeasureAgain bool `json:"measure_again,omitempty"`
}

// Resolve is the body of POST applied/resolve: finish or take-back.
type Resolve struct {
	Choice string `json:"choice"`
}
