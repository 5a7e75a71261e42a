package api

import "time"

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
	Source string `json:"source,omitempty"`
}

// XY is a horizontal pair, mm.
type XY struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Rect is an upright rectangle, mm.
type Rect struct {
	X0 float64 `json:"x0"`
	Y0 float64 `json:"y0"`
	X1 float64 `json:"x1"`
	Y1 float64 `json:"y1"`
}

// Box is the nozzle's travel, mm.
type Box struct {
	X0 float64 `json:"x0"`
	Y0 float64 `json:"y0"`
	Z0 float64 `json:"z0"`
	X1 float64 `json:"x1"`
	Y1 float64 `json:"y1"`
	Z1 float64 `json:"z1"`
}

// Size is the size of the stored map.
type Size struct {
	Columns int `json:"columns"`
	Rows    int `json:"rows"`
}

// Can says whether a step can be done, and why not.
type Can struct {
	Can    bool   `json:"can"`
	WhyNot string `json:"why_not,omitempty"`
}

// Printer is what is known of the printer.
type Printer struct {
	// Name is what the owner calls the printer.
	Name string `json:"name"`
	Link Link   `json:"link"`
	// Sentence says the state of the link in words, with what to do.
	Sentence string `json:"sentence"`
	// Port is the name under which the printer is reached.
	Port string `json:"port"`
	// Identity holds the KEY:value pairs of the printer's answer.
	Identity map[string]string `json:"identity"`
	ID       string            `json:"id"`
	Homed    bool              `json:"homed"`
	Lever    Known[XY]         `json:"lever"`
	// Trigger is the nozzle's height at a touch at the zero place, mm.
	Trigger   Known[float64] `json:"trigger_height"`
	Travel    Known[Box]     `json:"travel"`
	Bed       Known[Rect]    `json:"bed"`
	Layout    Known[string]  `json:"layout"`
	MapArea   Known[Rect]    `json:"map_area"`
	Zero      Known[XY]      `json:"zero_place"`
	MapSize   Known[Size]    `json:"map_size"`
	Levelling Known[bool]    `json:"levelling"`
	// Layer is the height of the first layer that the owner set, mm.
	Layer float64 `json:"first_layer"`
	// Temperatures as last heard; nil if never.
	Temperatures *Temperatures `json:"temperatures"`
	// Going is what a stop ends now: a run's id, or another name of what goes on; "" for
	// nothing.
	Going string `json:"going"`
	// Todo is what a person should do, the gravest first.
	Todo []Todo `json:"todo"`
	// Owed lists what a run switched off and could not put back.
	Owed  []string       `json:"owed"`
	Steps map[string]Can `json:"steps"`
}

// Todo is a state in which a person should do something: one sentence, one act.
type Todo struct {
	// ID is its name, which metrics and alerts use too.
	ID string `json:"id"`
	// Act is what to do, Says why.
	Act  string `json:"act"`
	Says string `json:"says"`
	// Commands do it from a terminal; the first is the usual one.
	Commands []string `json:"commands"`
	// Grave: no run begins, and nobody should print, before it is done.
	Grave bool `json:"grave"`
}

// Temperatures are degrees C.
type Temperatures struct {
	Nozzle       float64 `json:"nozzle"`
	NozzleTarget float64 `json:"nozzle_target"`
	Bed          float64 `json:"bed"`
	BedTarget    float64 `json:"bed_target"`
	// Heard is when the printer said so; nil: not known.
	Heard *time.Time `json:"heard"`
}

// Open is the body of POST printer/open.
type Open struct {
	Person string `json:"person"`
}
