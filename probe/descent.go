package probe

import "math"

// Constants of the way down to the gauge (the project's safety rule 5), mm.
const (
	leastStep = 0.02  // of a way down, and where above the expected drag it begins
	lastStep  = 0.01  // above where it was tight
	tightUp   = 0.06  // after tight, until it is not
	againUp   = 0.05  // before a second reading at the same point
	againAt   = 0.005 // above the last reading, where a second one begins
	roughStep = 0.03  // over more than that no blade drags: a reading after such a way is a rough one
	mostBlind = 0.2   // of what is left, half at most, where the prediction may be off by more
	mostSafe  = 0.1   // to where the gauge is expected to drag: no more than a gauge is thick
)

// descent is the way down to the feeler gauge at one point. The person says loose,
// drags or tight, and nothing else moves the nozzle; each reading is reached from above.
// Heights are the nozzle's, mm.
type descent struct {
	// expected is where the gauge is expected to drag, doubt how far off that may be: a
	// standard uncertainty where sure is set, a bound otherwise.
	expected, doubt float64
	sure            bool
	floor, gauge    float64

	z     float64
	loose float64 // where it was loose last; NaN: nowhere yet
	tight float64 // the highest height at which it was tight or was met from below; NaN: none
	step  float64 // the way down that led here; 0: it was not lowered to z
}

// down returns the height after loose, and false where the floor allows nothing lower.
//
//	known by the model   half of (r + s)
//	before that          half of max(r - d, min(r, 0.2))
//	or, if that is more  to 0.02 above where it is expected to drag, by no more than the
//	                     gauge is thick, 0.1 at most: where the gauge was loose the
//	                     nozzle does not reach the bed by that
//	at least             0.02
//	after tight          0.02, and 0.01 above the last tight height
//
// with r the height above where it is expected to drag.
func (d *descent) down() (z float64, ok bool) {
	left := d.z - d.expected
	half := math.Max(left-d.doubt, math.Min(left, mostBlind)) / 2
	if d.sure {
		half = (left + d.doubt) / 2
	}
	step := max(half, min(mostSafe, d.gauge, left-leastStep), leastStep)
	switch {
	case d.tight > d.z-leastStep-lastStep:
		step = lastStep
	case !math.IsNaN(d.tight):
		step = leastStep
	}
	step = math.Floor(step*1000+1e-6) / 1000
	if z = round(d.z - step); z < d.floor {
		z = round(math.Ceil(d.floor*1000) / 1000)
	}
	return z, z < d.z-0.0015
}

// next is by how much loose takes the nozzle down, 0 at the floor.
func (d *descent) next() float64 {
	if z, ok := d.down(); ok {
		return round(d.z - z)
	}
	return 0
}

// lowered takes the nozzle to z, which down returned: it was loose where it stood.
func (d *descent) lowered(z float64) { d.loose, d.step, d.z = d.z, d.z-z, z }

// up returns the height after tight, and after drags that was met from below.
func (d *descent) up() float64 { return round(d.z + tightUp) }

// raised takes the nozzle to z, since it is tight here or was not met from above.
func (d *descent) raised(z float64) {
	if math.IsNaN(d.tight) || d.z > d.tight {
		d.tight = d.z
	}
	d.z, d.step = z, 0
}

// fromAbove reports whether the nozzle was lowered to where it stands.
func (d *descent) fromAbove() bool { return d.step > 0 }

// again makes ready for a second reading at the same point, just read: the nozzle goes up
// to over, and down to z at once, a little above where the gauge dragged. Between there
// and where it was loose before it begins to drag again; so this costs an answer or two.
func (d *descent) again() (over, z float64) {
	over, z = round(d.z+againUp), round(d.z+againAt)
	if d.step > roughStep {
		z = round(d.z + leastStep)
	}
	d.expected, d.doubt, d.sure, d.tight = d.z, lastStep/2, true, math.NaN()
	d.step, d.z = max(lastStep, d.loose-z), z
	return over, z
}
