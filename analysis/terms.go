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
	termS
	termTS
	termF
	// termR is the left-right bend that is known to be the machine's and not the
	// plate's: from a straight reference, or from a turned plate.
	termR
	// termY is the part of the slope t that the angle readings at the head do not
	// show: the Y axis'. It adds nothing to the gap error, which has it in t.
	termY
	termCount
)

var termNames = [termCount]string{"1", "t", "t2", "t3", "s", "ts", "f", "r", "y"}

var termSays = [termCount]string{
	"level in the middle of the gauged area",
	"left-right slope: at the right edge against the middle",
	"left-right bow",
	"left-right S shape",
	"front-back slope: at the back edge against the middle",
	"twist: left-right slope that changes from front to back",
	"share of the survey's left-right profile",
	"share of the machine's own left-right bend (reference or turned plate)",
	"part of the left-right slope that is the Y axis' (not seen by the angle readings)",
}

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

// value returns the term at p: without unit, but for f, which is mm.
func (f frame) value(t term, p record.Place) float64 {
	x, y := (p.U-f.mid.U)/f.hu, (p.V-f.mid.V)/f.hv
	switch t {
	case termOne:
		return 1
	case termT:
		return x
	case termT2:
		return (3*x*x - 1) / 2
	case termT3:
		return (5*x*x*x - 3*x) / 2
	case termS:
		return y
	case termTS:
		return x * y
	case termY:
		return 0
	case termR:
		b, _ := f.mach.bend(p.U)
		return b
	default:
		b, _ := f.prof.bend(p.U)
		return b
	}
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
	machine       bool // r may be used
	rolls         bool // y may be used
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
	return s
}

// candidates returns the selections of terms that the places can carry: one
// column more than left-right terms, two rows for s, columns and rows for t s,
// one place more than terms; n records with a degree of freedom to spare.
func (s support) candidates(n int) [][]term {
	var out [][]term
	for mask := range 1 << (termCount - 1) {
		terms := []term{termOne}
		var has [termCount]bool
		for t := termT; t < termCount; t++ {
			if mask&(1<<(t-1)) != 0 {
				terms = append(terms, t)
				has[t] = true
			}
		}
		if s.carries(terms, has) && n > len(terms) {
			out = append(out, terms)
		}
	}
	return out
}

func (s support) carries(terms []term, has [termCount]bool) bool {
	leftRight := 0
	for _, t := range []term{termT, termT2, termT3, termF, termR} {
		if has[t] {
			leftRight++
		}
	}
	switch {
	case leftRight+1 > len(s.columns),
		has[termT2] && len(s.columns) < 3,
		has[termT3] && len(s.columns) < 4,
		has[termF] && (!s.profile || len(s.columns) < 3),
		(has[termS] || has[termTS]) && len(s.rows) < 2,
		has[termTS] && len(s.columns) < 2,
		len(terms) > max(s.places-1, 1),
		has[termT3] && !(has[termT] && has[termT2]),
		has[termT2] && !has[termT],
		has[termF] && !has[termT],
		has[termR] && (!s.machine || !has[termT] || has[termF] || len(s.columns) < 3),
		has[termY] && (!s.rolls || !has[termT]),
		has[termTS] && !has[termT]:
		return false
	}
	return true
}
