package record

// Source says where a value came from; the page shows it beside the value.
type Source string

// Sources of a value.
const (
	Asked   Source = "asked"   // the printer said it
	Set     Source = "set"     // the owner's settings say it
	Default Source = "default" // nobody said it
)

// Layout says what carries the Y axis.
type Layout string

// Layouts.
const (
	MovingBed    Layout = "moving-bed"    // the bed travels along Y
	MovingGantry Layout = "moving-gantry" // the beam travels along Y on side rails
)

// Identity is what the printer says of itself.
type Identity struct {
	// Fields are the KEY:value pairs of its answer, as said.
	Fields map[string]string `json:"fields,omitempty"`
	// Port is the name under which it was reached.
	Port string `json:"port,omitempty"`
	// ID is a stable fingerprint of the identity, hexadecimal.
	ID string `json:"id"`
}

// Travel is the nozzle's travel, mm: not the bed.
type Travel struct {
	Rect
	Z0 float64 `json:"z0"`
	Z1 float64 `json:"z1"`
}

// Setup is what was known when the run began.
type Setup struct {
	Printer Identity `json:"printer"`
	// Lever from nozzle to probe, mm; not to be believed if LeverUnknown, as for
	// touches from a file that nobody said a lever for.
	Lever        Lever `json:"lever"`
	LeverUnknown bool  `json:"lever_unknown,omitempty"`
	// Trigger is the height of the nozzle above the bed when the probe
	// triggers at the zero place, mm; 0 for a nozzle that is the probe.
	// NaN is not allowed: TriggerKnown says whether it is known.
	Trigger      float64 `json:"trigger"`
	TriggerKnown bool    `json:"trigger_known"`
	Bed          Rect    `json:"bed"`
	Travel       Travel  `json:"travel"`
	Layout       Layout  `json:"layout"`
	// Kind is how the probe feels the bed, "" if nobody said.
	Kind ProbeKind `json:"probe_kind,omitempty"`
	// MapArea is where the stored map has its nodes; nil if not known.
	MapArea *Rect `json:"map_area,omitempty"`
	// Zero is where the person set the Z offset.
	Zero Place `json:"zero"`
	// Reach is where both the probe and, for gauging, the nozzle can go: the
	// bed, the probe's reach and the nozzle's travel in one.
	Reach Rect `json:"reach"`
	// Clearance is the lowest height for travel in X and Y, mm.
	Clearance float64 `json:"clearance"`
	// ReportStep is the step to which touch heights are reported, mm (0.01,
	// 0.001), 0 if not known; Run raises it to the coarsest step of its
	// touches. It enters the uncertainty as a/sqrt(12) with a the step.
	ReportStep float64 `json:"report_step"`
	// Levelling says whether the stored levelling was on before the run.
	Levelling bool `json:"levelling"`
	// Sources names, by the JSON name of a field above, where it came from.
	Sources  map[string]Source `json:"sources,omitempty"`
	Criteria Criteria          `json:"criteria"`
	// Applied is the correction of ours that is in force in the stored map,
	// or nil.
	Applied *Applied `json:"applied,omitempty"`
}

// Applied is a correction that stands in the printer's stored map.
type Applied struct {
	Digest string `json:"digest"`
	// Before are the nodes as they were, and Add what was added at each, um:
	// rows along J, columns along I.
	Before [][]int64 `json:"before,omitempty"`
	Add    [][]int64 `json:"add"`
	// Lever for which it was made, mm.
	Lever Lever `json:"lever"`
}

// After returns the nodes with the correction in them, um.
func (a Applied) After() [][]int64 { return Plus(a.Before, a.Add, 1) }

// NoLever reports whether the probe is known to be the nozzle.
func (s Setup) NoLever() bool { return !s.LeverUnknown && s.Lever.None() }

// printedEdge is kept from the printed limits of travel, mm: printers print them to
// 0.1 mm or finer, the lever to 0.01, and refuse a place beyond the true ones.
const printedEdge = 0.06

// Probed returns where the probe can touch: nozzle travel moved by the lever,
// within the bed.
func (s Setup) Probed() Rect {
	return s.Travel.Grown(-printedEdge).Shifted(s.Lever.X, s.Lever.Y).Meet(s.Bed)
}

// Reachable returns where both the probe and the nozzle can go.
func (s Setup) Reachable() Rect { return s.Probed().Meet(s.Travel.Grown(-printedEdge)) }
