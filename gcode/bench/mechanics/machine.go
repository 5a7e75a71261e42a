package mechanics

// The two layouts of the Y axis.
const (
	MovingBed    = "moving-bed"    // the bed travels in Y, the beam stands
	MovingGantry = "moving-gantry" // the beam travels on side rails, the bed stands
)

// Func is an error motion along one axis: rad or mm over the axis' place in
// mm. nil is none.
type Func func(float64) float64

// At is its value at x, 0 of none.
func (f Func) At(x float64) float64 {
	if f == nil {
		return 0
	}
	return f(x)
}

// Machine is the geometry: what rotates, what bends, and how the bed lies.
// Error motions are named as in ISO 230-1 and belong to the nozzle's place,
// so that a probe at the nozzle is immune. mm and rad; right-handed, X right,
// Y back, Z up.
type Machine struct {
	Layout  string
	Bed     Rect       // the plate
	Travel  Box        // of the nozzle
	Lever   [2]float64 // probe minus nozzle
	Trigger float64    // nozzle above the bed when the probe triggers at the zero place; 0 for a probe that is the nozzle
	Level   float64    // how far the person's Z offset is too high
	Zero    [2]float64 // where the person set it, and where Z is homed
	Area    Rect       // first and last node of the stored map
	Cols    int        // nodes along X
	Rows    int        // nodes along Y

	Roll     Func // EAX(x): what a twisted beam gives
	Pitch    Func // EBX(x)
	Straight Func // EZX(x)

	YStraight Func // EZY(y)
	YPitch    Func // EAY(y)
	YRoll     Func // EBY(y)

	Shape   Shape      // the bed's own shape b(u,v)
	Tilt    [2]float64 // slope of the bed along X and Y, mm per mm
	Trammed bool       // the bed was trammed by the probe: the plane of its map is gone
}

// Body is a Machine made solid: its bed trammed, its probe set.
type Body struct {
	Machine
	tilt  [2]float64 // slope of the bed after tramming
	reach float64    // how far the triggered probe reaches below the nozzle, untilted
}

// NewBody makes a machine solid.
func NewBody(m Machine) *Body {
	b := &Body{Machine: m, tilt: m.Tilt}
	if m.Trammed {
		for range 3 {
			b.tram()
		}
	}
	b.reach = m.Trigger
	for range 3 {
		have := b.ProbeContact(m.Zero[0], m.Zero[1]) - b.NozzleContact(m.Zero[0], m.Zero[1])
		b.reach += m.Trigger - have
	}
	return b
}

// Height is the bed's height at (u, v), mm, in its own frame.
func (b *Body) Height(u, v float64) float64 {
	xc, yc := b.Bed.Middle()
	z := b.tilt[0]*(u-xc) + b.tilt[1]*(v-yc)
	if b.Shape != nil {
		z += b.Shape(u, v)
	}
	return z
}

// contact returns the Z of the carriage at which a tip, held at an offset
// from the nozzle, meets the bed with the nozzle commanded to (x, y). Exact
// rotations; no small angles.
func (b *Body) contact(x, y float64, offset Vec) float64 {
	if b.Layout == MovingGantry {
		return b.contactGantry(x, y, offset)
	}
	return b.contactBed(x, y, offset)
}

// head returns the tip relative to the beam, at the X carriage's place.
func (b *Body) head(x float64, offset Vec) Vec {
	if offset == (Vec{}) {
		return Vec{0, 0, b.Straight.At(x)}
	}
	tip := Rotation(b.Roll.At(x), b.Pitch.At(x), 0).Apply(offset)
	tip[2] += b.Straight.At(x)
	return tip
}

// contactBed: the bed, with all its error motions about its own middle, comes
// under a head on a beam that stands still.
func (b *Body) contactBed(x, y float64, offset Vec) float64 {
	tip := b.head(x, offset)
	tip[0] += x
	xc, yc := b.Bed.Middle()
	r := Rotation(b.YPitch.At(y), b.YRoll.At(y), 0)
	carriage := Vec{xc, yc - y, b.YStraight.At(y)}
	u, v := tip[0], tip[1]+y
	var p Vec
	for range 5 {
		p = r.Apply(Vec{u - xc, v - yc, b.Height(u, v)}).Add(carriage)
		u += tip[0] - p[0]
		v += tip[1] - p[1]
	}
	return p[2] - tip[2]
}

// contactGantry: the bridge pitches and rolls as a whole about its middle,
// the bed stands still.
func (b *Body) contactGantry(x, y float64, offset Vec) float64 {
	xc, _ := b.Bed.Middle()
	tip := b.head(x, offset)
	tip[0] += x - xc
	tip = Rotation(b.YPitch.At(y), b.YRoll.At(y), 0).Apply(tip)
	tip = tip.Add(Vec{xc, y, b.YStraight.At(y)})
	return b.Height(tip[0], tip[1]) - tip[2]
}

// NozzleContact is where the nozzle meets the bed at (u, v).
func (b *Body) NozzleContact(u, v float64) float64 { return b.contact(u, v, Vec{}) }

// TouchAt is the Z of the carriage at which the probe triggers with the nozzle at (x, y).
func (b *Body) TouchAt(x, y float64) float64 {
	return b.contact(x, y, Vec{b.Lever[0], b.Lever[1], -b.reach})
}

// ProbeContact is where the probe triggers, told off at the place (u, v) of
// the probe: the nozzle stands a lever away.
func (b *Body) ProbeContact(u, v float64) float64 {
	return b.TouchAt(u-b.Lever[0], v-b.Lever[1])
}

// Map is the touch height without any noise, 0 at the zero place.
func (b *Body) Map(u, v float64) float64 {
	return b.ProbeContact(u, v) - b.ProbeContact(b.Zero[0], b.Zero[1])
}

// Gap is m - n at (u, v) minus the same at the zero place.
func (b *Body) Gap(u, v float64) float64 {
	return b.Map(u, v) - b.NozzleContact(u, v) + b.NozzleContact(b.Zero[0], b.Zero[1])
}

// Node returns the place of node (i, j).
func (b *Body) Node(i, j int) (u, v float64) {
	return b.Area.X0 + (b.Area.X1-b.Area.X0)*float64(i)/float64(b.Cols-1),
		b.Area.Y0 + (b.Area.Y1-b.Area.Y0)*float64(j)/float64(b.Rows-1)
}

// tram takes the least-squares plane of the noise-free map out of the bed. On
// a regular grid its two slopes are separate.
func (b *Body) tram() {
	xc, yc := b.Area.Middle()
	var sx, sy, sxx, syy float64
	for j := range b.Rows {
		for i := range b.Cols {
			u, v := b.Node(i, j)
			m := b.Map(u, v)
			sx, sxx = sx+m*(u-xc), sxx+(u-xc)*(u-xc)
			sy, syy = sy+m*(v-yc), syy+(v-yc)*(v-yc)
		}
	}
	b.tilt[0] -= sx / sxx
	b.tilt[1] -= sy / syy
}
