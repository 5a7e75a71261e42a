package bench

import (
	"strconv"
	"strings"
)

// Fault is one thing that goes wrong on the line or at the machine, once.
type Fault struct {
	Name string
	// When is the command that it strikes: "" the first, "7" the seventh,
	// "G30" the first touch, "G30:7" the seventh.
	When string
}

// The faults by name.
const (
	faultLostOK   = "lost-ok"    // the command is done, its ok never comes
	faultLateOK   = "late-ok"    // its ok comes 45 virtual seconds late
	faultSilence  = "silence"    // the command is not done and nothing is answered
	faultRestart  = "restart"    // the board restarts
	faultHalt     = "halt"       // the machine halts with a fault
	faultUnplug   = "unplug"     // the connection breaks
	faultDeaf     = "no-trigger" // the probe does not trigger at this command
	faultRefuse   = "refused"    // the command is refused with a sentence and ok
	faultGarbled  = "wrong-echo" // the map printed by this command has one node wrong
	faultBitOut   = "bit-out"    // one bit flips in the next line sent
	faultBitIn    = "bit-in"     // one bit flips in the next line received
	faultByteOut  = "byte-out"   // one byte is lost of the next line sent
	faultTwiceOut = "twice-out"  // the next line sent comes twice
)

// Faults returns the names of all faults.
func Faults() []string {
	return []string{faultLostOK, faultLateOK, faultSilence, faultRestart, faultHalt, faultUnplug, faultDeaf, faultRefuse,
		faultGarbled, faultBitOut, faultBitIn, faultByteOut, faultTwiceOut}
}

// fault counts down to its strike. Strikes that last beyond the command (a
// probe gone deaf, a bit in the next line) stay armed until they are used.
type fault struct {
	Fault
	code  string
	left  int
	armed bool
}

func newFault(f Fault) *fault {
	code, count, both := strings.Cut(f.When, ":")
	n, err := strconv.Atoi(code)
	switch {
	case f.When == "":
		return &fault{Fault: f, left: 1}
	case err == nil && !both:
		return &fault{Fault: f, left: n}
	case !both:
		return &fault{Fault: f, code: strings.ToUpper(code), left: 1}
	}
	if n, err = strconv.Atoi(count); err != nil {
		n = 1
	}
	return &fault{Fault: f, code: strings.ToUpper(code), left: n}
}

// Inject adds a fault while the printer runs; its count begins now.
func (p *Printer) Inject(f Fault) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = append(p.faults, newFault(f))
}

// strike counts a command and returns the name of the fault that strikes it.
func (p *Printer) strike(code string) string {
	p.mu.Lock()
	defer p.mu.Unlock()
	name := ""
	for _, f := range p.faults {
		if f.left <= 0 || f.code != "" && f.code != code {
			continue
		}
		if f.left--; f.left == 0 {
			f.armed = true
			name = f.Name
		}
	}
	return name
}

// use tells whether a fault of that name is armed, and disarms it. The caller
// holds the lock.
func (p *Printer) use(name string) bool {
	for _, f := range p.faults {
		if f.armed && f.Name == name {
			f.armed = false
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

// outgoing is what really goes on the wire for one line.
func (p *Printer) outgoing(line string) []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.use(faultBitOut):
		b := []byte(line)
		b[len(b)/2] ^= 1
		return []string{string(b)}
	case p.use(faultByteOut):
		return []string{line[:len(line)/2] + line[len(line)/2+1:]}
	case p.use(faultTwiceOut):
		return []string{line, line}
	}
	return []string{line}
}

// incoming is what really arrives of some bytes.
func (p *Printer) incoming(b []byte) []byte {
	if len(b) == 0 {
		return b
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.use(faultBitIn) {
		b[0] ^= 1
	}
	return b
}
