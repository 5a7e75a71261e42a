package printfile_test

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"pgregory.net/rapid"
)

// writer writes a file at random, with its own model of where the head is: words of the
// present place in mm, exact.
type writer struct {
	t        *rapid.T
	b        strings.Builder
	n        int // moves, and their numbers
	at       [3]*big.Rat
	origin   [3]float64 // of those words, in the frame of the bed
	e        *big.Rat
	relative bool
	drips    bool
	inch     bool
	motion   string // that goes on without G
	eol      string
}

// program returns a print file at random.
func program(t *rapid.T) string {
	p := &writer{t: t, eol: pick(t, "\n", "\r\n"), e: new(big.Rat), motion: "1"}
	p.at = [3]*big.Rat{rat("100"), rat("90"), big.NewRat(int64(rapid.IntRange(1, 40).Draw(t, "first")), 100)}
	p.put("G28 ; home")
	p.put("G90")
	p.put("M82")
	p.put("G92 E0")
	p.put("G1 X100 Y90 Z" + dec(p.at[2]) + " F3000 ; 0")
	for range rapid.IntRange(1, 25).Draw(t, "lines") {
		p.step()
	}
	text := p.b.String()
	if p.chance(10) {
		text = strings.TrimSuffix(text, p.eol)
	}
	return text
}

func pick(t *rapid.T, of ...string) string { return rapid.SampledFrom(of).Draw(t, "pick") }

// dec writes v, to eight decimals where it has more.
func dec(v *big.Rat) string {
	s := v.FloatString(8)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}

// chance is true about once in so many times; small numbers are drawn more often.
func (p *writer) chance(of int) bool { return rapid.IntRange(1, of).Draw(p.t, "chance") == of/2+1 }

func (p *writer) put(line string) {
	p.b.WriteString(line)
	p.b.WriteString(p.eol)
}

func (p *writer) unit() *big.Rat {
	if p.inch {
		return rat("25.4")
	}
	return rat("1")
}

// number draws a length, mm, which is a decimal of few places in the present unit.
func (p *writer) number(lo, hi float64, name string) *big.Rat {
	d := 1e3
	if p.inch {
		d = 1e5
	}
	v := math.Round(rapid.Float64Range(lo, hi).Draw(p.t, name) / float(p.unit()) * d)
	return mul(big.NewRat(int64(v), int64(d)), p.unit())
}

// word is a letter with a length of v mm, and returns what the word says.
func (p *writer) word(l string, v *big.Rat) (text string, says *big.Rat) {
	s := dec(new(big.Rat).Quo(v, p.unit()))
	return l + s, mul(rat(s), p.unit())
}

// to is the word that leads along axis a to v, or about so.
func (p *writer) to(a int, v *big.Rat) string {
	if !p.relative {
		text, says := p.word("XYZ"[a:a+1], v)
		p.at[a] = says
		return text
	}
	text, says := p.word("XYZ"[a:a+1], less(v, p.at[a]))
	p.at[a] = sum(p.at[a], says)
	return text
}

// by leads along axis a by a length at random, but not off the bed for long.
func (p *writer) by(a int, lo, hi float64) string {
	v := p.number(lo, hi, "by")
	if there := float(sum(p.at[a], v)) + p.origin[a]; a != 2 && (there < 0) == (v.Sign() < 0) && (there < -55 || there > 260) {
		v.Neg(v)
	}
	return p.to(a, sum(p.at[a], v))
}

// feed is an E word, or none.
func (p *writer) feed() []string {
	if p.chance(3) {
		return nil
	}
	d := p.number(-1, 8, "e")
	if p.drips {
		text, _ := p.word("E", d)
		return []string{text}
	}
	text, says := p.word("E", sum(p.e, d))
	p.e = says
	return []string{text}
}

// shown joins words as somebody may write them; the first stays where it is if a
// command begins there that machines look for.
func (p *writer) shown(words []string, anyOrder bool) string {
	if anyOrder && p.chance(5) {
		words = rapid.Permutation(words).Draw(p.t, "order")
	}
	between := pick(p.t, " ", " ", " ", "", "  ", "\t", " (a; note) ")
	s := strings.Join(words, between)
	if p.chance(8) {
		s = strings.ToLower(s)
	}
	if p.chance(8) {
		s = pick(p.t, "(note) ", "(X5 G1)", " ", "(a;b)(c)") + s
	}
	if p.chance(5) {
		s = fmt.Sprintf("N%d%s", rapid.IntRange(1, 99999).Draw(p.t, "N"), pick(p.t, " ", "", "(n)")) + s
	}
	return s
}

// checked puts a checksum behind one line of so many.
func (p *writer) checked(s string, of int) string {
	if !p.chance(of) {
		return s
	}
	x := 0
	for _, c := range []byte(s) {
		x ^= int(c)
	}
	return fmt.Sprintf("%s*%d", s, x)
}

// set writes a line that is no move.
func (p *writer) set(words ...string) { p.put(p.checked(p.shown(words, false), 20)) }

// move writes a line of the motion g, which may be left out where it goes on.
func (p *writer) move(g string, words ...string) {
	p.n++
	named := false
	for _, w := range words {
		named = named || w[0] == 'X' || w[0] == 'Y' || w[0] == 'Z' && g < "2"
	}
	if p.motion != g || !named || !p.chance(4) {
		words = append([]string{"G" + pick(p.t, "", "", "0") + g}, words...)
		if p.chance(8) { // modes beside the move
			words = append([]string{map[bool]string{true: "G20", false: "G21"}[p.inch], pick(p.t, "G17", "G94", "G40")}, words...)
		}
		if p.chance(20) {
			words = append(words, pick(p.t, "M8", "M3", "T1", "S5"))
		}
	}
	p.motion = g
	any := true
	for _, w := range words {
		any = any && w[0] != 'T' && w[0] != 'M'
	}
	p.put(fmt.Sprintf("%s ; %d", p.checked(p.shown(words, any), 500), p.n))
}

// others are lines that move nothing that counts, however much they look like it.
var others = []string{"T1", "M117 layer X5 Y5", "; G1 X999", "(note)", "", "M104 S200", "PAUSE_NOW X=1", "G4 P10", "G10", "G11",
	"N5 M205 X8 Y8", "(c) M205 E5 J0.01", "F1200 M201 X500 Y500 E5000", "N5 M92 X80 Y80 Z400 E93", "M203X500Y500", "N5 M600 X10 Y10 Z20 E-5",
	"N9 M117 X10 Y20", "N7 M204 P500 R500", "S5 M205 Z0.4", "T1 M104 S200", "M106 S255", "N3", "N3 (note)", "; X10 Y10", "N4 ; note", "%", "F3000", "G1 F900", "M73 P5 R3"}

func (p *writer) step() {
	switch rapid.IntRange(0, 22).Draw(p.t, "what") {
	case 0:
		p.relative = !p.relative
		p.set(map[bool]string{true: "G91", false: "G90"}[p.relative])
		p.set(map[bool]string{true: "M83", false: "M82"}[p.drips])
	case 1:
		p.drips = !p.drips
		p.set(map[bool]string{true: "M83", false: "M82"}[p.drips])
		p.reset()
	case 2:
		p.inch = !p.inch
		p.set(map[bool]string{true: "G20", false: "G21"}[p.inch], pick(p.t, "G17", "G40", "G94"))
		p.reset()
	case 3:
		p.reset()
	case 4:
		a := rapid.IntRange(0, 2).Draw(p.t, "axis")
		text, says := p.word("XYZ"[a:a+1], p.number(-30, 30, "reset"))
		p.origin[a] += float(less(p.at[a], says))
		p.at[a] = says
		p.set("G92", text)
	case 5:
		p.setting()
	case 6, 7:
		o := pick(p.t, others...)
		if p.put(o); o == "G1 F900" {
			p.motion = "1"
		}
	case 8:
		p.move("1", p.by(2, -1, 3), "F600")
	case 9, 10, 11:
		p.arc()
	case 12:
		p.circle()
	case 13:
		p.spiral()
	case 14:
		p.layer()
	case 15:
		p.again()
	case 16:
		p.move("1", p.feed()...)
	default:
		words := []string{}
		if !p.chance(3) {
			words = append(words, p.by(0, -70, 70))
		}
		if !p.chance(3) {
			words = append(words, p.by(1, -70, 70))
		}
		if p.chance(4) {
			words = append(words, p.by(2, -2, 4))
		}
		if len(words) == 0 {
			words = append(words, p.by(0, 1, 9))
		}
		p.move(pick(p.t, "0", "1", "1", "1"), append(append(words, p.feed()...), pick(p.t, "F1800", "F.5"))...)
	}
}

// setting is a command of the machine's own with letters that a move has too.
func (p *writer) setting() {
	m := rapid.SampledFrom([]int{73, 92, 104, 106, 109, 140, 190, 200, 201, 203, 204, 205, 220, 221, 301, 350, 412, 486, 500, 593, 600, 851, 900}).Draw(p.t, "M")
	words := []string{fmt.Sprintf("M%d", m)}
	letters := rapid.Permutation([]string{"X", "Y", "Z", "E", "I", "J", "R", "S", "P", "T"}).Draw(p.t, "letters")
	for _, l := range letters[:rapid.IntRange(0, 5).Draw(p.t, "how many")] {
		words = append(words, l+dec(p.number(-300, 300, "value")))
	}
	if p.chance(6) {
		words = append([]string{pick(p.t, "F1200", "S5", "T1")}, words...)
		words = slices.DeleteFunc(words, func(w string) bool { return w != words[0] && w[0] == words[0][0] })
	}
	p.set(words...)
}

func (p *writer) reset() {
	p.set("G92", "E0")
	p.e = new(big.Rat)
}

// again homes one axis, and says where the head is after it.
func (p *writer) again() {
	p.set("G28", "X")
	p.relative, p.origin[0] = false, 0
	p.set("G90")
	p.set(map[bool]string{true: "M83", false: "M82"}[p.drips])
	p.move("0", p.to(0, p.number(20, 180, "x")), p.to(1, p.number(20, 180, "y")), p.to(2, p.number(0, 20, "z")))
}

// layer lays plastic at the next height, as most files do.
func (p *writer) layer() {
	p.move("1", p.by(2, 0.1, 0.3))
	for range 2 {
		p.move("1", append([]string{p.by(0, -40, 40), p.by(1, -40, 40)}, p.feed()...)...)
	}
}

// spiral climbs along short moves, without a layer's end.
func (p *writer) spiral() {
	sides := rapid.IntRange(4, 12).Draw(p.t, "sides")
	for i := range sides {
		sin, cos := math.Sincos(float64(i) * 2 * math.Pi / float64(sides))
		dx, dy := big.NewRat(int64(20e3*cos), 1000), big.NewRat(int64(20e3*sin), 1000)
		p.move("1", append([]string{p.to(0, sum(p.at[0], dx)), p.to(1, sum(p.at[1], dy)), p.by(2, 0, 0.1)}, p.feed()...)...)
	}
}

// middle draws the middle of an arc, as words I and J.
func (p *writer) middle() (i, j *big.Rat, words []string) {
	r := rapid.Float64Range(2, 50).Draw(p.t, "r")
	a := rapid.Float64Range(0, 6.28).Draw(p.t, "angle")
	d := 1e3 / float(p.unit())
	wi, si := p.word("I", big.NewRat(int64(r*math.Cos(a)*d), int64(d)))
	wj, sj := p.word("J", big.NewRat(int64(r*math.Sin(a)*d), int64(d)))
	return si, sj, []string{wi, wj}
}

// circle is a whole one: without X and Y, or with both, which say the same place again.
func (p *writer) circle() {
	g := pick(p.t, "2", "3")
	i, j, words := p.middle()
	switch {
	case i.Sign() != 0 && p.chance(3):
		words = words[:1]
	case j.Sign() != 0 && p.chance(3):
		words = words[1:]
	}
	if p.chance(2) {
		x, y := p.at[0], p.at[1]
		ends := []string{p.to(0, x), p.to(1, y)}
		if x.Cmp(p.at[0]) == 0 && y.Cmp(p.at[1]) == 0 {
			words = append(ends, words...)
		} else { // the place is no short decimal in this unit: go where it is one
			p.move("1", ends...)
		}
	}
	if p.chance(3) {
		words = append(words, p.by(2, -0.5, 1))
	}
	p.move(g, append(words, p.feed()...)...)
}

// arc turns about a middle nearby, in either form.
func (p *writer) arc() {
	i, j, words := p.middle()
	g := pick(p.t, "2", "3")
	sweep := rapid.Float64Range(0.3, 6).Draw(p.t, "sweep")
	if math.Abs(sweep-math.Pi) < 0.2 {
		sweep = 2.5
	}
	signed := sweep
	if g == "2" {
		signed = -sweep
	}
	sin, cos := math.Sincos(signed)
	fi, fj := float(i), float(j)
	round := func(v float64) *big.Rat { return big.NewRat(int64(math.Round(v*1e5)), 1e5) }
	x0, y0 := p.at[0], p.at[1]
	ends := []string{p.to(0, sum(x0, round(fi-fi*cos+fj*sin))), p.to(1, sum(y0, round(fj-fi*sin-fj*cos)))}
	if p.chance(3) {
		ends = append(ends, p.by(2, -1, 1))
	}
	if p.chance(3) {
		radius := math.Hypot(fi, fj)
		if half := math.Hypot(float(less(p.at[0], x0)), float(less(p.at[1], y0))) / 2; radius < half {
			radius = half + 1e-6
		}
		if sweep > math.Pi {
			radius = -radius
		}
		text, _ := p.word("R", big.NewRat(int64(math.Round(radius*1e6)), 1e6))
		words = []string{text}
	}
	p.move(g, append(append(ends, words...), p.feed()...)...)
}
