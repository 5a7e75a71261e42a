package bench

import (
	"fmt"
	"strconv"
	"strings"

	"abbed/gcode/bench/wire"
)

// Fault is one thing that goes wrong on the line or at the machine, once.
type Fault struct {
	Name string
	// When is the command that it strikes: "" the first, "7" the seventh,
	// "G30" the first touch, "G30:7" the seventh.
	When string
}

// The faults by name; faultWords says what they do.
const (
	faultByteOut  = "byte-out"
	faultByteIn   = "byte-in"
	faultBitOut   = "bit-out"
	faultBitIn    = "bit-in"
	faultTwiceOut = "twice-out"
	faultTwiceIn  = "twice-in"
	faultLostOK   = "lost-ok"
	faultLateOK   = "late-ok"
	faultStorm    = "resend-storm"
	faultNumber   = "wrong-number"
	faultBusy     = "busy"
	faultSilence  = "silence"
	faultChatter  = "chatter"
	faultSplit    = "split"
	faultGlued    = "glued"
	faultCRLF     = "crlf"
	faultNULs     = "nuls"
	faultLongLine = "long-line"
	faultRestart  = "restart"
	faultHalt     = "halt"
	faultUnplug   = "unplug"
	faultHalfOpen = "half-open"
	faultSlow     = "slow-line"
	faultDeaf     = "no-trigger"
	faultReach    = "out-of-reach"
	faultRefuse   = "refused"
	faultGarbled  = "wrong-echo"
)

// faultWords says of each fault what it does, in a fixed order; uses is how
// many lines, touches or prints after the command it strikes, 0 for a fault
// that acts at the command itself.
var faultWords = []struct {
	name string
	uses int
	says string
}{
	{faultByteOut, 1, "a byte is dropped of the next line from the printer"},
	{faultByteIn, 1, "a byte is dropped of the next line to the printer"},
	{faultBitOut, 1, "a bit flips in the next line from the printer"},
	{faultBitIn, 1, "a bit flips in the next line to the printer"},
	{faultTwiceOut, 1, "the next line from the printer comes twice"},
	{faultTwiceIn, 1, "the next line to the printer comes twice"},
	{faultLostOK, 0, "the command is done, its ok is lost"},
	{faultLateOK, 0, "the command is done, its ok comes 45 s late"},
	{faultStorm, 40, "the next 40 numbered lines are refused and asked for again and again"},
	{faultNumber, 0, "the printer's count of lines jumps: it asks for a line that never was"},
	{faultBusy, 0, "busy for five minutes before the command is done"},
	{faultSilence, 0, "the command is swallowed, nothing is answered"},
	{faultChatter, 160, "a hundred unasked lines at once, then three before each answer"},
	{faultSplit, 20, "the next lines come in pieces with pauses between"},
	{faultGlued, 1, "the next line comes without its end, glued to the one after"},
	{faultCRLF, 0, "from now on the other kind of line end"},
	{faultNULs, 40, "NULs before, in and after the next lines"},
	{faultLongLine, 0, "an unasked line of 10 kB"},
	{faultRestart, 0, "the board restarts"},
	{faultHalt, 0, "the machine halts; nothing is answered until a reset"},
	{faultUnplug, 0, "the connection breaks"},
	{faultHalfOpen, 0, "the connection stays open, but bytes go nowhere, without an error"},
	{faultSlow, 0, "the line is slow: 1200 baud until the connection ends"},
	{faultDeaf, 1, "the probe does not trigger at the next touch"},
	{faultReach, 1, "the place of the next touch is refused as out of reach"},
	{faultRefuse, 0, "the command is refused with a sentence and ok"},
	{faultGarbled, 1, "the map printed next has one node wrong"},
}

// slowBaud is the rate of the fault slow-line, and busyLong and lateOK the
// times of busy and late-ok in virtual seconds.
const (
	slowBaud = 1200
	busyLong = 300
	lateOK   = 45
)

// Faults returns the names of all faults.
func Faults() []string {
	names := make([]string, len(faultWords))
	for i, f := range faultWords {
		names[i] = f.name
	}
	return names
}

// FaultSays returns what the fault of that name does, or "".
func FaultSays(name string) string {
	for _, f := range faultWords {
		if f.name == name {
			return f.says
		}
	}
	return ""
}

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
	Fault
	code  string
	left  int // commands until it strikes
	uses  int // after that
	armed int // uses left, once it has struck
	// length is how long it lasts, virtual s; 0: as the fault of that name does.
	length float64
}

// newFault reads When; not ok if it cannot be read: then the fault strikes the
// first command of the code, or the first of all.
func newFault(f Fault) (*fault, bool) {
	n := &fault{Fault: f, left: 1}
	for _, w := range faultWords {
		if w.name == f.Name {
			n.uses = w.uses
		}
	}
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
func (p *Printer) Inject(f Fault) { p.inject(f, 0) }

// Calm drops all faults that have not struck yet or are not used up.
func (p *Printer) Calm() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = nil
}

// Struck returns how often the fault of that name has really had its effect.
func (p *Printer) Struck(name string) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.struck[name]
}

// strike counts a command and returns the name of the fault that acts at it, and
// how long it lasts, virtual s, where that was said.
func (p *Printer) strike(code string) (name string, length float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, f := range p.faults {
		if f.left <= 0 || f.code != "" && f.code != code {
			continue
		}
		if f.left--; f.left > 0 {
			continue
		}
		if f.armed = f.uses; f.uses == 0 || f.Name == faultChatter {
			name, length, p.strikeAt = f.Name, f.length, p.now()
		}
	}
	return name, length
}

// use tells whether a fault of that name is armed, and uses it once. The caller
// holds the lock.
func (p *Printer) use(name string) bool {
	for _, f := range p.faults {
		if f.armed > 0 && f.Name == name {
			f.armed--
			p.struck[name]++
			return true
		}
	}
	return false
}

func (p *Printer) deaf() bool { return p.use(faultDeaf) }

func (p *Printer) garbled() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.use(faultGarbled)
}

func (p *Printer) hit(name string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.struck[name]++
}
