package printfile_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// What follows reads a file by RS-274/NGC (Kramer, Proctor, Messina: The NIST
// RS274NGC Interpreter, Version 3, NIST IR 6556, 2000: 3.3 words, 3.5.1-3.5.3
// G0-G3 with helices and both forms of arcs, 3.5.9 G20 G21, 3.5.16 G90 G91,
// 3.5.18 G92), with E, M82, M83 and `;` as desktop printers have them (common
// practice, no source). It shares nothing with the package.

// stroke is one move as the reader sees it, mm, in the frame of the machine.
type stroke struct {
	from, to [3]float64
	known    bool
	g        int
	middle   [2]float64
	sweep    float64 // signed, rad; arcs only
	fed      float64 // extruded, mm
	line     int
	tag      string // the comment behind `;`
}

type ngc struct {
	here, origin     [3]float64 // machine place = word + origin
	known            [3]bool
	e                float64
	relative, drips  bool
	unit             float64
	motion           int
	fed              float64
	strokes          []stroke
	resets, toolings int
}

func newNGC() *ngc { return &ngc{unit: 1, motion: -1} }

// words splits one line; an error says that it is none.
func words(line string) (map[byte]float64, []float64, string, error) {
	code, tag := "", ""
	for line != "" { // comments: what begins first counts
		i := strings.IndexAny(line, "(;")
		if i < 0 {
			code += line
			break
		}
		code += line[:i]
		if line[i] == ';' {
			tag = line[i+1:]
			break
		}
		_, rest, ok := strings.Cut(line[i:], ")")
		if !ok {
			return nil, nil, "", fmt.Errorf("comment does not end")
		}
		line = rest
	}
	code = strings.ToUpper(strings.NewReplacer(" ", "", "\t", "").Replace(code))
	w, gs := map[byte]float64{}, []float64{}
	for code != "" {
		n := 1 + len(code[1:]) - len(strings.TrimLeft(code[1:], "+-.0123456789"))
		v, err := strconv.ParseFloat(code[1:n], 64)
		if err != nil {
			return nil, nil, "", err
		}
		if code[0] == 'G' {
			gs = append(gs, v)
		} else {
			w[code[0]] = v
		}
		code = code[n:]
	}
	return w, gs, strings.TrimSpace(tag), nil
}

// read takes one line; it knows the words that the tests' files use.
func (m *ngc) read(n int, line string) error {
	w, gs, tag, err := words(line)
	if err != nil {
		return nil // not words: the machine's own sentence
	}
	if v, ok := w['M']; ok {
		if v == 82 || v == 83 {
			m.drips = v == 83
		}
		return nil
	}
	if _, ok := w['T']; ok {
		m.toolings++
		if len(gs) == 0 {
			return nil
		}
	}
	for _, g := range gs {
		switch g {
		case 0, 1, 2, 3:
			m.motion = int(g)
		case 20:
			m.unit = 25.4
		case 21:
			m.unit = 1
		case 90, 91:
			m.relative = g == 91
		case 28:
			m.known, m.origin = [3]bool{}, [3]float64{}
			return nil
		case 92:
			m.reset(w)
			return nil
		}
	}
	return m.move(n, w, tag)
}

func (m *ngc) reset(w map[byte]float64) {
	m.resets++
	for a, l := range "XYZ" {
		if v, ok := w[byte(l)]; ok {
			m.origin[a] = m.here[a] - v*m.unit
		}
	}
	if v, ok := w['E']; ok {
		m.e = v * m.unit
	}
}

func (m *ngc) move(n int, w map[byte]float64, tag string) error {
	s := stroke{from: m.here, g: m.motion, line: n, tag: tag, known: m.known[0] && m.known[1] && m.known[2]}
	moves := false
	for a, l := range "XYZ" {
		v, ok := w[byte(l)]
		if !ok {
			continue
		}
		moves = true
		if m.relative {
			m.here[a] += v * m.unit
		} else {
			m.here[a], m.known[a] = v*m.unit+m.origin[a], true
		}
	}
	if v, ok := w['E']; ok {
		if m.drips {
			s.fed = v * m.unit
		} else {
			s.fed = v*m.unit - m.e
		}
		m.e += s.fed
		m.fed += s.fed
	}
	s.to = m.here
	if m.motion >= 2 {
		moves = true
		if err := s.bend(w, m.unit); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
	if moves || s.fed != 0 {
		m.strokes = append(m.strokes, s)
	}
	return nil
}

// bend finds middle and angle of an arc.
func (s *stroke) bend(w map[byte]float64, unit float64) error {
	a := complex(s.from[0], s.from[1])
	b := complex(s.to[0], s.to[1])
	var c complex128
	if r, ok := w['R']; ok {
		r *= unit
		chord := b - a
		d := math.Hypot(real(chord), imag(chord))
		// The two middles lie across the chord's own middle; the one is kept whose
		// arc is shorter than half a turn (R > 0) or longer (R < 0).
		h := math.Sqrt(math.Max(0, r*r-d*d/4))
		across := chord * complex(0, 1) * complex(h/d, 0)
		for _, side := range []complex128{1, -1} {
			c = a + chord/2 + side*across
			s.middle = [2]float64{real(c), imag(c)}
			s.turn()
			if (math.Abs(s.sweep) <= math.Pi+1e-9) == (r > 0) {
				break
			}
		}
	} else {
		c = a + complex(w['I']*unit, w['J']*unit)
		s.middle = [2]float64{real(c), imag(c)}
		s.turn()
	}
	r0 := math.Hypot(s.from[0]-s.middle[0], s.from[1]-s.middle[1])
	r1 := math.Hypot(s.to[0]-s.middle[0], s.to[1]-s.middle[1])
	if math.Abs(r0-r1) > 0.002 {
		return fmt.Errorf("radii %.5f and %.5f differ by more than 0.002 mm", r0, r1)
	}
	return nil
}

func (s *stroke) turn() {
	angle := func(p [3]float64) float64 { return math.Atan2(p[1]-s.middle[1], p[0]-s.middle[0]) }
	s.sweep = angle(s.to) - angle(s.from)
	if s.g == 2 && s.sweep >= 0 {
		s.sweep -= 2 * math.Pi
	}
	if s.g == 3 && s.sweep <= 0 {
		s.sweep += 2 * math.Pi
	}
	if s.from[0] == s.to[0] && s.from[1] == s.to[1] {
		s.sweep = math.Copysign(2*math.Pi, s.sweep)
	}
}

// length is that of the way in X and Y.
func (s *stroke) length() float64 {
	if s.g >= 2 {
		return math.Abs(s.sweep) * math.Hypot(s.from[0]-s.middle[0], s.from[1]-s.middle[1])
	}
	return math.Hypot(s.to[0]-s.from[0], s.to[1]-s.from[1])
}

// at is the place at the part t of the way.
func (s *stroke) at(t float64) [3]float64 {
	p := [3]float64{}
	for a := range p {
		p[a] = s.from[a] + t*(s.to[a]-s.from[a])
	}
	if s.g >= 2 {
		x, y := s.from[0]-s.middle[0], s.from[1]-s.middle[1]
		sin, cos := math.Sincos(t * s.sweep)
		p[0], p[1] = s.middle[0]+x*cos-y*sin, s.middle[1]+x*sin+y*cos
	}
	return p
}

func readNGC(text string) (*ngc, error) {
	m := newNGC()
	for i, l := range strings.Split(text, "\n") {
		if err := m.read(i+1, strings.TrimSuffix(l, "\r")); err != nil {
			return nil, err
		}
	}
	return m, nil
}
