package bench

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"abbed/gcode/bench/wire"
)

// Fault is one thing that goes wrong on the line or at the machine, once.
type Fault struct {
	Name string
	// When is the command that it strikes: "" the first, "7" the seventh,
	// "G30" the first touch, "G30:7" the seventh.
	When string
}

// faultKind is what a fault of a name does. length is how long it lasts, virtual
// s, 0 where nothing was said.
type faultKind struct {
	name string
	says string // empty: only through the method of Printer that gives its length
	// uses is how many lines, touches or prints after the command it strikes it
	// changes, where use asks for it; 0 for a fault that acts at the command itself.
	uses int
	act  func(l *link, length float64)
}

// slowBaud is the rate of the fault slow-line, and busyLong and lateOK the times of
// busy and late-ok, virtual s, where nothing was said.
const (
	slowBaud = 1200
	busyLong = 300
	lateOK   = 45
)

// faultKinds are all of them, in a fixed order.
var faultKinds = []faultKind{
	{"byte-out", "a byte is dropped of the next line from the printer", 1, nil},
	{"byte-in", "a byte is dropped of the next line to the printer", 1, nil},
	{"bit-out", "a bit flips in the next line from the printer", 1, nil},
	{"bit-in", "a bit flips in the next line to the printer", 1, nil},
	{"twice-out", "the next line from the printer comes twice", 1, nil},
	{"twice-in", "the next line to the printer comes twice", 1, nil},
	{"lost-ok", "the command is done, its ok is lost", 0, func(l *link, _ float64) { l.quiet = true }},
	{"late-ok", "the command is done, its ok comes 45 s late", 0, func(l *link, length float64) {
		l.quiet = true
		time.AfterFunc(l.p.real(cmp.Or(length, lateOK)), func() { l.unasked("ok") }) // ends with the link at the latest
	}},
	{"resend-storm", "the next 40 numbered lines are refused and asked for again and again", 40, nil},
	{"wrong-number", "the printer's count of lines jumps: it asks for a line that never was", 0, (*link).jump},
	{"busy", "busy for five minutes before the command is done", 0, func(l *link, length float64) { l.hold(l.p.now() + cmp.Or(length, busyLong)) }},
	{"silence", "the command is swallowed, nothing is answered", 0, func(l *link, _ float64) { l.abort() }},
	{"chatter", "a hundred unasked lines at once, then three before each answer", 160, func(l *link, _ float64) {
		lines := l.p.babble(100)
		l.free(func() { l.unasked(lines...) })
	}},
	{"split", "the next lines come in pieces with pauses between", 20, nil},
	{"glued", "the next line comes without its end, glued to the one after", 1, nil},
	{"crlf", "from now on the other kind of line end", 0, func(l *link, _ float64) {
		l.p.lineEnd = map[string]string{"\n": "\r\n", "\r\n": "\n"}[l.p.lineEnd]
	}},
	{"nuls", "NULs before, in and after the next lines", 40, nil},
	{"long-line", "an unasked line of 10 kB", 0, func(l *link, _ float64) {
		l.free(func() { l.unasked("dump " + strings.Repeat("0123456789abcdef ", 620)) })
	}},
	{"restart", "the board restarts", 0, func(l *link, _ float64) { l.end(l.p.Restart) }},
	{"halt", "the machine halts; nothing is answered until a reset", 0, func(l *link, _ float64) { l.end(l.p.Halt) }},
	{"unplug", "the connection breaks", 0, func(l *link, _ float64) { l.end(l.p.Unplug) }},
	{"half-open", "the connection stays open, but bytes go nowhere, without an error", 0, func(l *link, _ float64) {
		l.end(func() { l.dead.Store(true) })
	}},
	{"slow-line", "the line is slow: 1200 baud until the connection ends", 0, func(l *link, _ float64) { l.baud.Store(slowBaud) }},
	{"no-trigger", "the probe does not trigger at the next touch", 1, nil},
	{"out-of-reach", "the place of the next touch is refused as out of reach", 1, nil},
	{"refused", "the command is refused with a sentence and ok", 0, nil}, // see act
	{"wrong-echo", "the map printed next has one node wrong", 1, nil},
	{"mute", "", 0, func(l *link, length float64) { l.fallSilent(&l.p.mute, length) }},
	{"deafen", "", 0, func(l *link, length float64) { l.fallSilent(&l.p.deafTill, length) }},
}

// Faults returns the names of all faults.
func Faults() (names []string) {
	for _, k := range faultKinds {
		if k.says != "" {
			names = append(names, k.name)
		}
	}
	return names
}

func kindOf(name string) faultKind {
	i := slices.IndexFunc(faultKinds, func(k faultKind) bool { return k.name == name })
	if i < 0 {
		return faultKind{name: name}
	}
	return faultKinds[i]
}

// FaultSays returns what the fault of that name does, or "".
func FaultSays(name string) string { return kindOf(name).says }

// ParseFault reads NAME or NAME@WHEN, see Fault. The error lists the names.
func ParseFault(text string) (Fault, error) {
	name, when, _ := strings.Cut(text, "@")
	f := Fault{Name: name, When: when}
	if FaultSays(name) == "" {
		return f, fmt.Errorf("bench: read fault %q: no fault %q; there are: %s", text, name, strings.Join(Faults(), ", "))
	}
	if _, ok := newFault(f); !ok {
		return f, fmt.Errorf("bench: read fault %q: when is a number (7: the seventh command), a command (G30: the first touch), or both (G30:7)", text)
	}
	return f, nil
}

// fault counts down to its strike. Faults with uses stay armed after it until
// they have been used up.
type fault struct {
	faultKind
	code   string
	left   int // commands until it strikes
	armed  int // uses left, once it has struck
	length float64
}

// newFault reads When; not ok if it cannot be read: then the fault strikes the
// first command of the code, or the first of all.
func newFault(f Fault) (*fault, bool) {
	n := &fault{faultKind: kindOf(f.Name), left: 1}
	code, count, both := strings.Cut(f.When, ":")
	if both || code != "" && code[0] >= '0' && code[0] <= '9' {
		if !both {
			code, count = "", code
		}
		k, err := strconv.Atoi(count)
		if err != nil || k < 1 {
			return n, false
		}
		n.left = k
	}
	n.code = strings.ToUpper(code)
	words, err := wire.ParseWords(n.code)
	return n, n.code == "" || err == nil && len(words) == 1 && words[0].Code == n.code
}

// Inject adds a fault while the printer runs; its count begins now.
func (p *Printer) Inject(f Fault) { p.inject(f.Name, f.When, 0) }

// Mute has the printer fall silent for so many virtual seconds when the command
// strikes (see Fault.When): that command and all that come meanwhile are
// swallowed, and not even its chatter goes out. 0 or less: for ever, until a
// restart. What moves goes on to its end.
func (p *Printer) Mute(when string, seconds float64) { p.inject("mute", when, seconds) }

// Deafen is Mute of a board that goes on talking by itself: commands are swallowed,
// its chatter still goes out.
func (p *Printer) Deafen(when string, seconds float64) { p.inject("deafen", when, seconds) }

// Hang has the printer say busy for so many virtual seconds before it does the
// command that strikes.
func (p *Printer) Hang(when string, seconds float64) { p.inject("busy", when, seconds) }

// Late has the printer do the command that strikes (see Fault.When) and answer
// it so many virtual seconds late, without a busy line in between.
func (p *Printer) Late(when string, seconds float64) { p.inject("late-ok", when, seconds) }

func (p *Printer) inject(name, when string, seconds float64) {
	defer p.lock()()
	n, _ := newFault(Fault{name, when})
	n.length = seconds
	p.faults = append(p.faults, n)
}

// Calm drops all faults that have not struck yet or are not used up.
func (p *Printer) Calm() {
	defer p.lock()()
	p.faults = nil
}

// Struck returns how often the fault of that name has really had its effect.
func (p *Printer) Struck(name string) int {
	defer p.lock()()
	return p.struck[name]
}

// Strikes is how many of the faults have struck.
func (p *Printer) Strikes() (n int) {
	defer p.lock()()
	for _, k := range p.struck {
		n += k
	}
	return n
}

// LastStrike is for how long no fault has struck, virtual s; +Inf if none ever has.
func (p *Printer) LastStrike() float64 {
	defer p.lock()()
	if p.strikeAt == 0 {
		return math.Inf(1)
	}
	return p.now() - p.strikeAt
}

// act counts a command and lets a fault that strikes act at it; done means that
// the command is not to be done.
func (l *link) act(w wire.Word) (done bool) {
	p := l.p
	var now *fault
	for _, f := range p.faults {
		if f.left <= 0 || f.code != "" && f.code != w.Code {
			continue
		}
		if f.left--; f.left > 0 {
			continue
		}
		if f.armed = f.uses; f.uses == 0 || f.act != nil {
			now, p.strikeAt = f, p.now()
		}
	}
	if now == nil {
		return false
	}
	if now.uses == 0 && now.name != "wrong-number" { // those two count what comes of them
		p.struck[now.name]++
	}
	if now.name == "refused" {
		l.say(p.words.Say(wire.Refused, w.Code))
		return true
	}
	if now.act != nil {
		now.act(l, now.length)
	}
	return false
}

// use tells whether a fault of that name is armed, and uses it once.
func (p *Printer) use(name string) bool {
	for _, f := range p.faults {
		if f.armed > 0 && f.name == name {
			f.armed--
			p.struck[name]++
			return true
		}
	}
	return false
}

// jump sets the count of lines off, if lines are numbered.
func (l *link) jump(float64) {
	if l.number >= 0 {
		l.p.lines.Last += 7
		l.p.struck["wrong-number"]++
	}
}

// fallSilent begins a silence until a virtual time, which it keeps as bits.
func (l *link) fallSilent(until *atomic.Uint64, seconds float64) {
	end := math.Inf(1)
	if seconds > 0 {
		end = l.p.now() + seconds
	}
	until.Store(math.Float64bits(end))
	l.abort()
}

// muted tells whether nothing goes out now, deafened whether nothing is done.
func (p *Printer) muted() bool { return p.now() < math.Float64frombits(p.mute.Load()) }

func (p *Printer) deafened() bool {
	return p.muted() || p.now() < math.Float64frombits(p.deafTill.Load())
}

// Muted tells whether the printer does no command now.
func (p *Printer) Muted() bool { return p.deafened() }

// babble is n lines that nobody asked for. The caller holds the lock.
func (p *Printer) babble(n int) []string {
	kinds := [...]string{" " + p.temperatures(), "echo:fan at 40 of 100", "// filament there", "wait", ""}
	lines := make([]string, n)
	for i := range lines {
		lines[i] = kinds[(i+p.babbled)%len(kinds)]
	}
	p.babbled += n
	return lines
}

// outgoing is what really goes on the wire for one line, piece by piece; pause
// is between pieces, virtual s.
func (p *Printer) outgoing(line string) (pieces []string, pause float64) {
	defer p.lock()()
	end := p.lineEnd
	if p.use("glued") {
		end = ""
	}
	line += end
	half, third := len(line)/2, len(line)/3
	switch {
	case p.use("bit-out"):
		b := []byte(line)
		b[half] ^= 1
		line = string(b)
	case p.use("byte-out"):
		line = line[:half] + line[min(half+1, len(line)):]
	case p.use("twice-out"):
		return []string{line, line}, 0
	case p.use("nuls"):
		line = "\x00\x00" + line[:half] + "\x00" + line[half:] + "\x00"
	case p.use("split"):
		return []string{line[:third], line[third : 2*third], line[2*third:]}, 0.7
	case p.use("chatter"):
		return []string{strings.Join(p.babble(3), end) + end, line}, 0
	}
	return []string{line}, 0
}

// incoming is what really arrives of some bytes.
func (p *Printer) incoming(b []byte) []byte {
	if len(b) == 0 {
		return b
	}
	defer p.lock()()
	if p.use("bit-in") {
		b[0] ^= 1
	}
	if p.use("byte-in") {
		half := len(b) / 2
		b = append(b[:half], b[half+1:]...)
	}
	return b
}
