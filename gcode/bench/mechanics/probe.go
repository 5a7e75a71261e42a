package mechanics

import (
	"math"
	"math/rand/v2"
)

// Probe is what goes wrong at a touch. Lengths in mm, times in virtual
// seconds. Nothing here moves the nozzle's own contact, except the drift,
// which is the frame's.
type Probe struct {
	Scatter float64 // standard deviation of a touch
	Quantum float64 // step in which Z stops, 0 for none
	First   float64 // the first touch after a rest of a minute reads higher by this

	Outlier     float64 // share of touches that are outliers
	OutlierSize float64 // their size, either sign

	Play [2]float64 // touches differ by this between the two sides of approach in X, in Y

	Dip       float64 // depth of the dip that a flat on a wheel gives
	DipWidth  float64 // its standard deviation along X
	DipPeriod float64 // distance between dips
	Slip      float64 // how far the phase slips when the carriage turns, standard deviation
	Wander    float64 // height of the carriage differs between passes by this, standard deviation

	DriftRate   float64 // mm per second, for ever
	DriftSettle float64 // mm that come in the end, exponentially
	DriftTime   float64 // with this time constant
	DriftSwing  float64 // mm of a swing to and fro
	DriftPeriod float64 // s of its period; the swing is not regular
}

// Drift is how far the frame has risen after t virtual seconds, mm: nozzle
// and probe contact rise alike.
func (p Probe) Drift(t float64) float64 {
	z := p.DriftRate * t
	if p.DriftTime > 0 {
		z += p.DriftSettle * (1 - math.Exp(-t/p.DriftTime))
	}
	if p.DriftPeriod > 0 {
		w := 2 * math.Pi * t / p.DriftPeriod
		z += p.DriftSwing * (math.Sin(w) + 0.5*math.Sin(w*math.Phi+1))
	}
	return z
}

// rest is how long nothing is touched before a touch is a first one, s.
const rest = 60

// passLength is the least travel along X after which a turn counts as the
// beginning of a new pass, mm.
const passLength = 50

// wanderWaves are the wavelengths of a carriage that rides otherwise at each
// pass, mm; no two in a simple ratio, so that no period stands out.
var wanderWaves = [...]float64{43, 67, 101, 173}

// Feeler is the state of one probe: what its errors depend on.
type Feeler struct {
	Probe
	rng    *rand.Rand
	side   [2]float64 // direction of the last travel in X and Y: -1, 0, 1
	run    float64    // travel along X since the last turn
	phase  float64    // of the wheels, mm
	wander [8]float64 // of this pass: sine and cosine for each wavelength
	last   float64    // virtual time of the last touch or travel
	idle   bool       // nothing yet
}

// NewFeeler returns the state of a probe that has not touched yet.
func NewFeeler(p Probe, seed, stream uint64) *Feeler {
	f := &Feeler{Probe: p, rng: rand.New(rand.NewPCG(seed, stream)), idle: true}
	f.phase = f.DipPeriod * (0.35 + 0.3*f.rng.Float64()) // no dip at the middle to begin with
	f.newPass()
	return f
}

// Travel notes a travel of the head by (dx, dy) mm.
func (f *Feeler) Travel(dx, dy float64) {
	const least = 0.5 // mm: less does not shift the carriage to its other side
	if math.Abs(dy) >= least {
		f.side[1] = math.Copysign(1, dy)
	}
	if math.Abs(dx) < least {
		return
	}
	dir := math.Copysign(1, dx)
	if dir != f.side[0] && f.run > passLength {
		f.phase += f.Slip * f.rng.NormFloat64()
		f.newPass()
	}
	if dir != f.side[0] {
		f.run = 0
	}
	f.run += math.Abs(dx)
	f.side[0] = dir
	if math.Abs(dx) > passLength && f.Slip > 0 {
		f.phase += 0.05 * math.Abs(dx) * f.rng.NormFloat64()
	}
}

func (f *Feeler) newPass() {
	for i := range f.wander {
		f.wander[i] = f.Wander / math.Sqrt(float64(len(wanderWaves))) * f.rng.NormFloat64()
	}
}

// carriage is what the wheels do to the probe's height with the nozzle at x,
// the beam's middle at xc, mm.
func (f *Feeler) carriage(x, xc float64) float64 {
	z := 0.0
	for k, length := range wanderWaves {
		sin, cos := math.Sincos(2 * math.Pi * (x - xc) / length)
		z += f.wander[2*k]*sin + f.wander[2*k+1]*cos
	}
	if f.DipPeriod > 0 {
		from := math.Remainder(x-xc-f.phase, f.DipPeriod)
		z -= f.Dip * math.Exp(-from*from/(2*f.DipWidth*f.DipWidth))
	}
	return z
}

// Error draws the error of one touch with the nozzle at x at virtual time t.
func (f *Feeler) Error(x, xc, t float64) float64 {
	z := f.Scatter*f.rng.NormFloat64() + f.carriage(x, xc)
	z += f.Play[0]/2*f.side[0] + f.Play[1]/2*f.side[1]
	if f.rng.Float64() < f.Outlier {
		z += math.Copysign(f.OutlierSize*(0.8+0.4*f.rng.Float64()), f.rng.Float64()-0.5)
	}
	if f.idle || t-f.last > rest {
		z += f.First
	}
	f.idle, f.last = false, t
	return z
}

// Step rounds a height to the steps in which Z stops.
func (f *Feeler) Step(z float64) float64 {
	if f.Quantum <= 0 {
		return z
	}
	return math.Round(z/f.Quantum) * f.Quantum
}
