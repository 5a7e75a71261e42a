package record

// ProbeKind is how a probe feels the bed.
type ProbeKind string

// Kinds of probe.
const (
	KindUnknown   ProbeKind = ""
	KindContact   ProbeKind = "contact-pin" // a pin or switch that touches the bed
	KindInductive ProbeKind = "inductive"   // senses metal without touching it
	KindOptical   ProbeKind = "optical"     // senses light that comes back from the bed
	KindNozzle    ProbeKind = "nozzle-load" // the nozzle touches, and its load is sensed
)
