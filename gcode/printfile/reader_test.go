package printfile_test

import (
	"fmt"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// What follows reads a file by RS-274/NGC (Kramer, Proctor, Messina: The NIST
// RS274NGC Interpreter, Version 3, NIST IR 6556, 2000: 3.3 words, in any order; 3.4
// and table 4 modal groups; 3.5.1-3.5.3 G0-G3 with helices and both forms of arcs;
// 3.5.9 G20 G21; 3.5.16 G90 G91; 3.5.18 G92), with what desktop printers have
// (common practice, no source): E, M82, M83, `;` before a comment, N with a checksum,
// an arc without X and Y as a whole circle, and one command a line where M begins it.
// Places are exact fractions. It shares nothing with the package.

// stroke is one move as the reader sees it, mm, in the frame of the machine.
type stroke struct {
	from, to [3]*big.Rat
	known    bool
	moves    bool // not E alone
	g        string
	middle   [2]float64
	sweep    float64 // signed, rad; arcs only
	fed      *big.Rat
}

// readLine is a line, with its move if it has one.
type readLine struct {
	text string // with its end
	tag  string // the comment behind `;`
	move *stroke
}

type reader struct {
	here, origin    [3]*big.Rat // machine place = word + origin
	known           [3]bool
	e               *big.Rat
	relative, drips bool
	unit            *big.Rat
	motion          string
	fed             *big.Rat
	lines           []readLine
}

func rat(s string) *big.Rat {
	v, ok := new(big.Rat).SetString(s)
	if !ok {
		panic(s)
	}
	return v
}

func zeros() [3]*big.Rat { return [3]*big.Rat{new(big.Rat), new(big.Rat), new(big.Rat)} }

func sum(a, b *big.Rat) *big.Rat  { return new(big.Rat).Add(a, b) }
func less(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
func mul(a, b *big.Rat) *big.Rat  { return new(big.Rat).Mul(a, b) }
func float(a *big.Rat) float64    { v, _ := a.Float64(); return v }

var (
	remark  = regexp.MustCompile(`^([^;(]*)\([^)]*\)`)
	lineNo  = regexp.MustCompile(`^N *[0-9]+`)
	aWord   = regexp.MustCompile(`^([A-Z])[ \t]*([+-]?[0-9]*\.?[0-9]*)[ \t]*`)
	aName   = regexp.MustCompile(`^[A-Z][A-Z_]`)
	speaks  = regexp.MustCompile(`^M *0*(0|1|23|28|30|36|117|118|928)\b`)
	groupsG = map[string][]string{
		"motion": {"0", "1", "2", "3", "80"}, "plane": {"17", "18", "19"}, "distance": {"90", "91"}, "unit": {"20", "21"},
		"middles": {"91.1"}, "rate": {"94"}, "radius": {"40"}, "length": {"49"}, "frame": {"54"}, "path": {"64"}, "none": {"4", "10", "11", "28", "92"},
	}
)

// split takes a line apart: its words as they stand (nil: it is none of ours), its tag.
func split(line string) (words [][2]string, tag string, err error) {
	code := line
	for {
		shorter := remark.ReplaceAllString(code, "$1")
		if shorter == code {
			break
		}
		code = shorter
	}
	code, tag, _ = strings.Cut(code, ";")
	if before, check, ok := strings.Cut(code, "*"); ok {
		x := 0
		for _, c := range []byte(line[:strings.Index(line, "*")]) {
			x ^= int(c)
		}
		if strings.TrimSpace(check) != strconv.Itoa(x) {
			return nil, "", fmt.Errorf("checksum %s, want %d", check, x)
		}
		code = before
	}
	code = strings.ToUpper(strings.TrimSpace(code))
	code = strings.TrimSpace(lineNo.ReplaceAllString(code, ""))
	if aName.MatchString(code) || speaks.MatchString(code) {
		return nil, tag, nil
	}
	for code != "" {
		m := aWord.FindStringSubmatch(code)
		if m == nil {
			return nil, tag, nil
		}
		words = append(words, [2]string{m[1], m[2]})
		code = code[len(m[0]):]
	}
	return words, strings.TrimSpace(tag), nil
}

// read takes one line; it knows the words that the tests' files use.
func (m *reader) read(text string) error {
	words, tag, err := split(strings.TrimRight(text, "\r\n"))
	if err != nil {
		return err
	}
	line := readLine{text: text, tag: tag}
	defer func() { m.lines = append(m.lines, line) }()
	w, group := map[string]*big.Rat{}, map[string]string{}
	var ms []string
	for _, x := range words {
		switch {
		case x[1] == "":
			w[x[0]] = nil
		case x[0] == "M":
			ms = append(ms, rat(x[1]).RatString())
		case x[0] == "G":
			code := strings.TrimSuffix(rat(x[1]).FloatString(1), ".0")
			of := ""
			for name, codes := range groupsG {
				if slices.Contains(codes, code) {
					of = name
				}
			}
			if of == "" || group[of] != "" {
				return fmt.Errorf("G%s is not known, or the second of its group", code)
			}
			group[of] = code
		default:
			w[x[0]] = rat(x[1])
		}
	}
	if len(ms) > 0 && len(group) == 0 { // a setting, whatever else stands there
		if ms[0] == "82" || ms[0] == "83" {
			m.drips = ms[0] == "83"
		}
		return nil
	}
	if group["plane"] != "" && group["plane"] != "17" {
		return fmt.Errorf("plane")
	}
	if u := group["unit"]; u != "" {
		m.unit = map[string]*big.Rat{"20": rat("25.4"), "21": rat("1")}[u]
	}
	if d := group["distance"]; d != "" {
		m.relative = d == "91"
	}
	if g := group["motion"]; g != "" {
		m.motion = g
	}
	switch group["none"] {
	case "28":
		m.home(w)
		return nil
	case "92":
		m.reset(w)
		return nil
	case "":
		line.move, err = m.move(w)
		return err
	}
	return nil
}

func (m *reader) home(w map[string]*big.Rat) {
	for a, l := range []string{"X", "Y", "Z"} {
		_, named := w[l]
		if _, x := w["X"]; !x {
			if _, y := w["Y"]; !y {
				if _, z := w["Z"]; !z {
					named = true
				}
			}
		}
		if named {
			m.known[a], m.origin[a], m.here[a] = false, new(big.Rat), new(big.Rat)
		}
	}
}

func (m *reader) reset(w map[string]*big.Rat) {
	for a, l := range []string{"X", "Y", "Z"} {
		if v := w[l]; v != nil {
			m.origin[a] = less(m.here[a], mul(v, m.unit))
		}
	}
	if v := w["E"]; v != nil {
		m.e = mul(v, m.unit)
	}
}

func (m *reader) move(w map[string]*big.Rat) (*stroke, error) {
	s := &stroke{from: m.here, g: m.motion, fed: new(big.Rat), known: m.known == [3]bool{true, true, true}}
	for a, l := range []string{"X", "Y", "Z"} {
		v := w[l]
		if v == nil {
			continue
		}
		s.moves = true
		if m.relative {
			m.here[a] = sum(m.here[a], mul(v, m.unit))
		} else {
			m.here[a], m.known[a] = sum(mul(v, m.unit), m.origin[a]), true
		}
	}
	if v := w["E"]; v != nil {
		s.fed = mul(v, m.unit)
		if !m.drips {
			s.fed = less(s.fed, m.e)
		}
		m.e = sum(m.e, s.fed)
		m.fed = sum(m.fed, s.fed)
	}
	s.to = m.here
	if w["I"] != nil || w["J"] != nil || w["R"] != nil {
		s.moves = true
		if err := s.bend(w, m.unit); err != nil {
			return nil, err
		}
	}
	if !s.moves && s.fed.Sign() == 0 {
		return nil, nil
	}
	return s, nil
}

// bend finds middle and angle of an arc.
func (s *stroke) bend(w map[string]*big.Rat, unit *big.Rat) error {
	if s.g != "2" && s.g != "3" {
		return fmt.Errorf("the middle of an arc with G%s", s.g)
	}
	from := complex(float(s.from[0]), float(s.from[1]))
	chord := complex(float(less(s.to[0], s.from[0])), float(less(s.to[1], s.from[1])))
	if w["R"] != nil {
		r := float(mul(w["R"], unit))
		d := math.Hypot(real(chord), imag(chord))
		// The two middles lie across the chord's own middle; the one is kept whose
		// arc is shorter than half a turn (R > 0) or longer (R < 0).
		h := math.Sqrt(math.Max(0, r*r-d*d/4))
		across := chord * complex(0, 1) * complex(h/d, 0)
		for _, side := range []complex128{1, -1} {
			c := from + chord/2 + side*across
			s.middle = [2]float64{real(c), imag(c)}
			s.turn()
			if (math.Abs(s.sweep) <= math.Pi+1e-9) == (r > 0) {
				break
			}
		}
	} else {
		for a, l := range []string{"I", "J"} {
			if w[l] == nil {
				w[l] = new(big.Rat)
			}
			s.middle[a] = float(sum(s.from[a], mul(w[l], unit)))
		}
		s.turn()
	}
	r0 := math.Hypot(float(s.from[0])-s.middle[0], float(s.from[1])-s.middle[1])
	r1 := math.Hypot(float(s.to[0])-s.middle[0], float(s.to[1])-s.middle[1])
	if math.Abs(r0-r1) > 0.002 {
		return fmt.Errorf("radii %.5f and %.5f differ by more than 0.002 mm", r0, r1)
	}
	return nil
}

func (s *stroke) turn() {
	angle := func(p [3]*big.Rat) float64 { return math.Atan2(float(p[1])-s.middle[1], float(p[0])-s.middle[0]) }
	s.sweep = angle(s.to) - angle(s.from)
	if s.from[0].Cmp(s.to[0]) == 0 && s.from[1].Cmp(s.to[1]) == 0 {
		s.sweep = 0
	}
	if s.g == "2" && s.sweep >= 0 {
		s.sweep -= 2 * math.Pi
	}
	if s.g == "3" && s.sweep <= 0 {
		s.sweep += 2 * math.Pi
	}
}

// length is that of the way in X and Y.
func (s *stroke) length() float64 {
	if s.sweep != 0 {
		return math.Abs(s.sweep) * math.Hypot(float(s.from[0])-s.middle[0], float(s.from[1])-s.middle[1])
	}
	return math.Hypot(float(less(s.to[0], s.from[0])), float(less(s.to[1], s.from[1])))
}

// at is the place at the part t of the way.
func (s *stroke) at(t float64) [3]float64 {
	p := [3]float64{}
	for a := range p {
		p[a] = float(s.from[a]) + t*float(less(s.to[a], s.from[a]))
	}
	if s.sweep != 0 {
		x, y := float(s.from[0])-s.middle[0], float(s.from[1])-s.middle[1]
		sin, cos := math.Sincos(t * s.sweep)
		p[0], p[1] = s.middle[0]+x*cos-y*sin, s.middle[1]+x*sin+y*cos
	}
	return p
}

// lays says whether plastic is laid along the move.
func (s *stroke) lays() bool { return s.known && s.fed.Sign() > 0 && s.length() > 0 }

func readNGC(text string) (*reader, error) {
	m := &reader{here: zeros(), origin: zeros(), e: new(big.Rat), fed: new(big.Rat), unit: rat("1")}
	for l := range strings.Lines(text) {
		if err := m.read(l); err != nil {
			return nil, fmt.Errorf("line %d: %w\n%s", len(m.lines), err, l)
		}
	}
	return m, nil
}

// firstLayers finds how high the first two layers reach: the lowest height at which
// plastic is laid, and the next one above it after that; none below the bed. It looks no further than to the
// beginning of the third.
func (m *reader) firstLayers() *big.Rat {
	var laid []*big.Rat // lowest first
	for _, l := range m.lines {
		if l.move == nil || !l.move.lays() {
			continue
		}
		z := l.move.to[2]
		at, old := slices.BinarySearchFunc(laid, z, (*big.Rat).Cmp)
		switch {
		case old:
		case at == 0:
			laid = []*big.Rat{z}
		case at == 1:
			laid = []*big.Rat{laid[0], z}
		case laid[1].Sign() < 0:
			return new(big.Rat)
		default:
			return laid[1]
		}
	}
	switch {
	case len(laid) == 0 || laid[len(laid)-1].Sign() < 0:
		return new(big.Rat)
	case len(laid) == 1:
		return mul(laid[0], rat("2"))
	}
	return laid[1]
}
