package api

import (
	"strings"
	"time"

	"abbed/probe/record"
)

// Link is the state of the link to the printer.
type Link string

// States of the link.
const (
	Unopened   Link = "unopened"   // a real device that waits for the person's word
	Connecting Link = "connecting" // being opened and identified
	Ready      Link = "ready"      // identified, port held
	Resting    Link = "resting"    // identified, port given back until a run
	Taken      Link = "taken"      // another program holds the port
	Lost       Link = "lost"       // gone; being tried again
)

// Known is a value with where it came from: asked, set or default; Value is
// nil (and Source empty) if it is not known.
type Known[T any] struct {
	Value  *T     `json:"value"`
	Source string `json:"source,omitempty" about:"asked of the printer, set by the owner, or a default" enum:"asked,set,default"`
}

// Rect is an upright rectangle, mm.
type Rect = record.Rect

// XY is a horizontal pair, mm.
type XY struct {
	X float64 `json:"x" about:"mm"`
	Y float64 `json:"y" about:"mm"`
}

// Box is the nozzle's travel, mm.
type Box = record.Travel

// Size is the size of the stored map.
type Size struct {
	Columns int `json:"columns" about:"along X"`
	Rows    int `json:"rows" about:"along Y"`
}

// Can says whether a step can be done, and why not.
type Can struct {
	Can    bool   `json:"can"`
	WhyNot string `json:"why_not,omitempty"`
}

// Printer is what is known of the printer.
type Printer struct {
	Name         string            `json:"name" about:"what the owner calls the printer"`
	Link         Link              `json:"link" about:"unopened: waits for a person's word; connecting; ready; resting: identified, port given back until a run; taken: another program holds the port; lost" enum:"unopened,connecting,ready,resting,taken,lost"`
	Sentence     string            `json:"sentence" about:"the state of the link in words, with what to do"`
	Port         string            `json:"port" about:"the name under which the printer is reached"`
	Identity     map[string]string `json:"identity" about:"what the printer says of itself"`
	ID           string            `json:"id" about:"a stable fingerprint of the identity"`
	Homed        bool              `json:"homed"`
	Lever        Known[XY]         `json:"lever" about:"from nozzle to probe, mm"`
	Trigger      Known[float64]    `json:"trigger_height" about:"the nozzle's height at a touch at the zero point, mm"`
	Travel       Known[Box]        `json:"travel" about:"of the nozzle, not of the bed, mm"`
	Bed          Known[Rect]       `json:"bed" about:"mm"`
	Layout       Known[string]     `json:"layout" about:"what carries the Y axis" enum:"moving-bed,moving-gantry"`
	MapArea      Known[Rect]       `json:"map_area" about:"where the bed map has its nodes: first and last column and row, mm"`
	Zero         Known[XY]         `json:"zero_place" about:"where the Z offset was set, mm"`
	MapSize      Known[Size]       `json:"map_size"`
	Levelling    Known[bool]       `json:"levelling" about:"whether the stored levelling is on"`
	Layer        float64           `json:"first_layer" about:"height of the first layer in the settings, mm"`
	Temperatures *Temperatures     `json:"temperatures" about:"as last heard, degrees C"`
	Going        string            `json:"going" about:"what a stop ends now: a run's id, or another name of what goes on; empty for nothing"`
	Todo         []Todo            `json:"todo" about:"what a person should do, the gravest first"`
	Owed         []string          `json:"owed" about:"what a run switched off and could not put back"`
	Steps        map[string]Can    `json:"steps" about:"which steps can be done"`
}

// Todo is a state in which a person should do something: one sentence, one act.
type Todo struct {
	ID       string   `json:"id" about:"a name, which metrics and alerts use too"`
	Act      string   `json:"act" about:"what to do"`
	Says     string   `json:"says" about:"why"`
	Commands []string `json:"commands" about:"do it from a terminal; the first is the usual one"`
	Grave    bool     `json:"grave" about:"no run begins, and no one should print, before it is done"`
}

// Temperatures are degrees C.
type Temperatures struct {
	Nozzle       float64    `json:"nozzle"`
	NozzleTarget float64    `json:"nozzle_target"`
	Bed          float64    `json:"bed"`
	BedTarget    float64    `json:"bed_target"`
	Heard        *time.Time `json:"heard" about:"when the printer said so; null if not known"`
}

// Open is the body of POST printer/open.
type Open struct {
	Person string `json:"person" about:"who gives the word"`
}

// Called is what people call a field of what a printer says of itself.
func Called(key string) string {
	name := strings.ToLower(strings.ReplaceAll(key, "_", " "))
	for _, known := range []string{"firmware", "machine"} {
		if strings.HasPrefix(name, known) {
			return known
		}
	}
	return name
}
