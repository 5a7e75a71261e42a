package printfile

// mmPerInch is exact (ISO 31; G20 of RS-274/NGC).
const mmPerInch = 25.4

// axis is where the file believes an axis to be. Its word for the place p is
// p - shift: G92 changes the word and not the place.
type axis struct {
	p, shift float64
	known    bool
}

// extruder is the extruder's axis under one reading of G90 and G91.
type extruder struct {
	relative, known bool
	at              float64
}

// state is what the lines so far have set.
type state struct {
	axes     [3]axis // X Y Z
	relative bool
	scale    float64 // mm per unit
	places   int     // decimals of a written Z
	e        [2]extruder
	plane    int // 170 for G17
	motion   int // the last G0..G3, or -1
	// actual is where Z really is once the lines are rewritten, shift the shift
	// of its words.
	actual, shift float64
	lost          int64  // the line after which the place was not known, 0 none
	lostBy        string // the letter of its command
	lostTo        int    // and its code
	modeSaid      bool   // whether E is absolute was said
}

const (
	inX = iota
	inY
	inZ
)

func newState() state {
	s := state{motion: -1, plane: 170, scale: 1, places: 4}
	return s
}

// quantum is the step of a written Z, mm.
func (s *state) quantum() float64 { return s.scale / pow10[s.places] }

func (s *state) placed() bool {
	return s.axes[inX].known && s.axes[inY].known && s.axes[inZ].known
}

// target returns where axis a goes by a word.
func (s *state) target(a int, w *word) axis {
	t := s.axes[a]
	v := w.value() * s.scale
	if s.relative {
		t.p += v
		return t
	}
	t.p, t.known = v+t.shift, true
	return t
}

// extrude returns the extruder's axis after a word.
func (s *state) extrude(w *word) [2]extruder {
	out := s.e
	for i := range out {
		if v := w.value() * s.scale; out[i].relative {
			out[i].at += v
		} else {
			out[i].at, out[i].known = v, true
		}
	}
	return out
}

// reset is G92.
func (s *state) reset(k *block) {
	for a, c := range "XYZ" {
		if !k.with(byte(c)) {
			continue
		}
		v, ax := k.word(byte(c)).value()*s.scale, &s.axes[a]
		if !ax.known {
			// The file says where it is; nothing contradicts it.
			*ax = axis{p: v, known: true}
			if a == inZ {
				s.actual, s.shift = v, 0
			}
			continue
		}
		ax.shift = ax.p - v
		if a == inZ {
			s.shift = s.actual - v
		}
	}
	if k.with('E') {
		v := k.word('E').value() * s.scale
		for i := range s.e {
			s.e[i].at, s.e[i].known = v, true
		}
	}
}

// home is G28: the named axes, or all, are somewhere that the file does not say.
func (s *state) home(k *block) {
	all := !k.with('X') && !k.with('Y') && !k.with('Z')
	for a, c := range "XYZ" {
		if all || k.with(byte(c)) {
			s.axes[a] = axis{}
			if a == inZ {
				s.actual, s.shift = 0, 0
			}
		}
	}
}

// lose forgets where the head is after a command that moves it out of sight.
func (s *state) lose(line int64, letter string, code int) {
	for a := range s.axes {
		s.axes[a].known = false
	}
	s.lost, s.lostBy, s.lostTo = line, letter, code
}

// mode does the G and M words that set how later words are read; it reports
// whether it was one.
func (s *state) mode(g int, f Follow) bool {
	switch g {
	case 170, 180, 190:
		s.plane = g
	case 200:
		s.scale, s.places = mmPerInch, 6
	case 210:
		s.scale, s.places = 1, 4
	case 900, 910:
		s.relative = g == 910
		s.e[0].relative = s.relative
		s.settle(f)
		s.modeSaid = s.modeSaid || f == Follows
	default:
		return false
	}
	return true
}

// extruderMode is M82 and M83.
func (s *state) extruderMode(relative bool) {
	s.e[0].relative, s.e[1].relative, s.modeSaid = relative, relative, true
}

// settle keeps the reading that was said.
func (s *state) settle(f Follow) {
	switch f {
	case Follows:
		s.e[1] = s.e[0]
	case Apart:
		s.e[0] = s.e[1]
	}
}
