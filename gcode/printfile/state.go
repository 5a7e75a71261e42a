package printfile

import (
	"fmt"
	"math/bits"
)

// Places are whole numbers of 1e-9 mm: sums of words are exact, so that a circle ends
// where it began however the head came there. Words are decimals, and an inch is
// 25.4 mm exactly (ISO 31; G20 of RS-274/NGC).
const (
	perMM   = 1_000_000_000
	perInch = 25_400_000_000
)

// beyond is more than any place or length of a file, and small enough that four of them
// add up.
const beyond = 2_000_000_000 * perMM

func mm(p int64) float64 { return float64(p) / perMM }

// axis is where the file believes an axis to be. Its word for the place p is
// p - shift: G92 changes the word and not the place.
type axis struct {
	p, shift        int64
	known, relative bool
}

// goes follows a word.
func (a *axis) goes(v int64) {
	if a.relative {
		a.p += v
	} else {
		a.p, a.known = v+a.shift, true
	}
}

// The axes; E twice: as it is if G90 and G91 change it, and if they do not.
const (
	inX = iota
	inY
	inZ
	inE
	inE2
	axesOf = "XYZEE"
)

// state is what the lines so far have set.
type state struct {
	axes   [len(axesOf)]axis
	unit   uint64  // of words: perMM or perInch
	scale  float64 // mm per unit
	places int     // decimals of a written Z
	plane  int     // 170 for G17
	motion int     // the last G0..G3, or -1
	// actual is where Z really is once the lines are rewritten, shift the shift
	// of its words.
	actual, shift int64
	lost          string // the command after which the place was not known
	modeSaid      bool   // whether E is absolute was said
}

// quantum is the step of a written Z, mm.
func (s *state) quantum() float64 { return s.scale / pow10[s.places] }

func placed(a []axis) bool { return a[inX].known && a[inY].known && a[inZ].known }

// of returns the length of a word in the present unit, to the nearest 1e-9 mm.
func (s *state) of(a number) int64 {
	n := uint64(max(a.n, -a.n))
	hi, q := bits.Mul64(n, s.unit/tens[min(a.d, 8)])
	if a.d > 8 || hi > 0 { // a unit is no whole number of such decimals, or the number is large
		by := tens[a.d]
		if hi, q = bits.Mul64(n, s.unit); hi >= by {
			hi, q, by = 0, beyond, 1
		}
		q, hi = bits.Div64(hi, q, by)
		if 2*hi >= by {
			q++
		}
	}
	if q = min(q, beyond); a.n < 0 {
		return -int64(q)
	}
	return int64(q)
}

// reset is G92. Of an axis whose place is not known it says where it is; nothing
// contradicts it.
func (s *state) reset(k *block) {
	for a, c := range []byte(axesOf) {
		if !k.with(c) {
			continue
		}
		v, ax := s.of(k.word(c).number), &s.axes[a]
		if !ax.known {
			ax.p, ax.known = v, true
			if a == inZ {
				s.actual = v
			}
		}
		ax.shift = ax.p - v
		if a == inZ {
			s.shift = s.actual - v
		}
	}
}

// home is G28: the named axes, or all, are somewhere that the file does not say.
func (s *state) home(k *block) {
	for a, c := range []byte("XYZ") {
		if k.has&axes == 0 || k.with(c) {
			s.axes[a] = axis{relative: s.axes[a].relative}
			if a == inZ {
				s.actual, s.shift = 0, 0
			}
		}
	}
}

// lose forgets where the head is after a command that moves it out of sight.
func (r *rewriter) lose(letter string, code int) {
	for a := range r.axes[:inE] {
		r.axes[a].known = false
	}
	r.lost = r.here(letter, code)
}

// here names a command of the present line.
func (r *rewriter) here(letter string, code int) string {
	return fmt.Sprintf("%s%s in line %d", letter, name(code), r.sum.Lines)
}

// mode does the G words that set how later words are read.
func (s *state) mode(g int, f Follow) {
	switch g {
	case 170, 180, 190:
		s.plane = g
	case 200:
		s.unit, s.scale, s.places = perInch, 25.4, 6
	case 210:
		s.unit, s.scale, s.places = perMM, 1, 4
	case 900, 910:
		for a := range s.axes {
			if a < inE || a == inE && f != Apart || f == Follows {
				s.axes[a].relative = g == 910
			}
		}
		s.modeSaid = s.modeSaid || f == Follows
	}
}

// extruderMode is M82 and M83.
func (s *state) extruderMode(relative bool) {
	s.axes[inE].relative, s.axes[inE2].relative, s.modeSaid = relative, relative, true
}
