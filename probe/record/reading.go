package record

// Quantity says what a person read from an instrument of their own.
type Quantity string

// Quantities.
const (
	// QuantityCoupon is the thickness of a single-layer patch printed at a
	// place with the stored levelling on, mm: the true gap there, up to one
	// unknown constant that all patches of a print share.
	QuantityCoupon Quantity = "coupon"
	// QuantityRoll is the roll EAX of the head with the nozzle at a place, rad:
	// + = the side of the head towards the back is the higher one.
	QuantityRoll Quantity = "roll"
	// QuantityPitch is the pitch EBX of the head with the nozzle at a place,
	// rad: + = the right side of the head is the lower one (a right-handed turn
	// about Y).
	QuantityPitch Quantity = "pitch"
)

// What a printed single layer can be, mm, and the standard uncertainty of its
// thickness as a reading of the gap where nothing better is known: its own roughness,
// and the stored map between its nodes (common practice, no source).
const (
	LayerLeast = 0.02
	LayerMost  = 2.0
	PatchU     = 0.012
)

// Reading is one value that a person read from an instrument of their own.
type Reading struct {
	// N is the number of its event.
	N int64 `json:"n"`
	// T is when, s since the run's start.
	T        float64  `json:"t"`
	Quantity Quantity `json:"quantity"`
	// Place is the patch, or where the nozzle stood.
	Place Place `json:"place"`
	// Value is in mm (coupon) or rad (roll, pitch).
	Value float64 `json:"value"`
	// U is its standard uncertainty, in the same unit.
	U float64 `json:"u"`
	// Print counts the lists (of coupons: the proof prints) that were entered after the
	// run, from 1; 0 is the run's own step. Of each quantity the latest counts: a list
	// that is sent once more, or read anew with the instrument mounted anew, replaces it.
	Print int `json:"print,omitempty"`
	// Corrected says that a correction was in force while it was printed: it shows
	// what that left, and tells nothing of the gap error itself.
	Corrected bool `json:"corrected,omitempty"`
}

// Laid says how something lies on the bed from this event on: a removable plate
// that was turned, or a straight reference.
type Laid struct {
	// N is the number of its event.
	N int64 `json:"n"`
	// Turned is by how much the plate was turned from how it lay first, deg,
	// counter-clockwise seen from above; 0 for a reference.
	Turned int `json:"turned,omitempty"`
	// Reference is the straight reference, nil for a plate.
	Reference *Reference `json:"reference,omitempty"`
}

// Reference is a straight reference that lies along X.
type Reference struct {
	// Y is its middle line, X0 and X1 where the touches on it begin and end, mm.
	Y  float64 `json:"y"`
	X0 float64 `json:"x0"`
	X1 float64 `json:"x1"`
	// Thickness is how far its upper side is above the bed, mm.
	Thickness float64 `json:"thickness"`
	// Straight is the largest deviation from straight that its grade allows
	// over its length, mm: the width of the zone that holds its upper side.
	Straight float64 `json:"straight"`
}
