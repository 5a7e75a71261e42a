package analysis

import (
	"math"

	"abbed/probe/record"
)

// term is one summand of the gap error.
type term int

// The terms, on t and s in [-1, 1] over the gauged rectangle; the powers are
// Legendre's polynomials, so that they stand nearly at right angles.
const (
	termOne term = iota
	termT
	termT2
	termT3
	// termT4 and termT5 are held to be smaller than the bends below them: they
	// say how far a shape between the columns may lie from a cubic.
	termT4
	termT5
	termS
	termS2
	termTS
	termT2S
	termTS2
	termF
	// termH is the survey's own front-back bend.
	termH
	// termR is the left-right bend that is known to be the machine's and not the
	// plate's: from a straight reference, or from a turned plate.
	termR
	// termY is the part of the slope t that the angle readings at the head do not
	// show: the Y axis'. It adds nothing to the gap error, which has it in t.
	termY
	// termD is the drift of the gap error itself with time: of the probe's own
	// trigger point, or of the hand. It runs from -1 at the first record to 1 at
	// the last, and is 0 in what is foretold: the gap error holds for the middle
	// of the gauging.
	termD
	termCount
)

var termNames = [termCount]string{"1", "t", "t2", "t3", "t4", "t5", "s", "s2", "ts", "t2s", "ts2", "f", "h", "r", "y", "d"}

var termSays = [termCount]string{
	"level in the middle of the gauged area",
	"left-right slope: at the right edge against the middle",
	"left-right bow",
	"left-right S shape",
	"left-right shape with three bends",
	"left-right shape with four bends",
	"front-back slope: at the back edge against the middle",
	"front-back bow",
	"twist: left-right slope that changes from front to back",
	"left-right bow that changes from front to back",
	"front-back bow that changes from left to right",
	"share of the survey's left-right profile",
	"share of the survey's front-back profile",
	"share of the machine's own left-right bend (reference or turned plate)",
	"part of the left-right slope that is the Y axis' (not seen by the angle readings)",
	"drift of the gap error in time: at the last record against the middle of the gauging",
}

// bends says whether t is a bend along X, which only the beam makes.
func bends(t term) bool { return t >= termT2 && t <= termT5 || t == termF || t == termR }

// leftRight says whether t changes along X alone.
func leftRight(t term) bool { return t == termT || bends(t) }

// yRolls and yPitches say whether t is of a roll or of a pitch of the Y axis.
func yRolls(t term) bool   { return t >= termTS && t <= termTS2 }
func yPitches(t term) bool { return t == termS || t == termS2 || t == termH }

// changesAlongY says whether t changes along Y.
func changesAlongY(t term) bool { return yRolls(t) || yPitches(t) }

func (t term) String() string { return termNames[t] }

// frame puts places on scaled coordinates.
type frame struct {
	mid    record.Place
	hu, hv float64 // half sizes, mm, never 0
	prof   *Profile
	mach   *Profile // the machine's own left-right bend, nil if not known
}

func newFrame(area record.Rect, prof *Profile) frame {
	return frame{mid: area.Middle(), hu: math.Max(area.W()/2, 10), hv: math.Max(area.H()/2, 10), prof: prof}
}

// value returns the term at p: without unit, but for f, h and r, which are mm.
func (f frame) value(t term, p record.Place) float64 {
	x, y := (p.U-f.mid.U)/f.hu, (p.V-f.mid.V)/f.hv
	switch t {
	case termOne:
		return 1
	case termT, termT2, termT3, termT4, termT5:
		return legendre(int(t-termOne), x)
	case termS, termS2:
		return legendre(int(t-termS)+1, y)
	case termTS:
		return x * y
	case termT2S:
		return legendre(2, x) * y
	case termTS2:
		return x * legendre(2, y)
	case termF:
		b, _ := f.prof.bend(p.U)
		return b
	case termH:
		b, _ := f.prof.bendY(p.V)
		return b
	case termR:
		b, _ := f.mach.bend(p.U)
		return b
	}
	return 0 // termY, termD: nothing of the gap error at a place
}

// legendre returns Legendre's polynomial P_n(x), by Bonnet's recursion.
func legendre(n int, x float64) float64 {
	a, b := 1.0, x
	if n == 0 {
		return a
	}
	for k := 2; k <= n; k++ {
		m := float64(k)
		a, b = b, ((2*m-1)*x*b-(m-1)*a)/m
	}
	return b
}

func (f frame) row(terms []term, p record.Place) []float64 {
	row := make([]float64, len(terms))
	for i, t := range terms {
		row[i] = f.value(t, p)
	}
	return row
}

// support says what the gauged places can tell.
type support struct {
	places        int
	columns, rows []float64
	profile       bool // f may be used
	front         bool // h may be used
	machine       bool // r may be used
	rolls         bool // y may be used
	again         bool // d may be used: a place was gauged at far apart times
}

// apart is how far places must lie from each other to count as two columns or
// rows, mm.
const apart = 8

func supportOf(ps []Paired, prof *Profile) support {
	var us, vs []float64
	for _, p := range ps {
		us, vs = append(us, p.Place.U), append(vs, p.Place.V)
	}
	var s support
	s.columns, _ = cluster(us, apart)
	s.rows, _ = cluster(vs, apart)
	seen := map[[2]int]bool{}
	_, cu := cluster(us, apart)
	_, cv := cluster(vs, apart)
	for i := range ps {
		seen[[2]int{cu[i], cv[i]}] = true
	}
	s.places = len(seen)
	s.profile = prof != nil && prof.Significant
	s.front = prof != nil && prof.front != nil
	return s
}
