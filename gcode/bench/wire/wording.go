package wire

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"abbed/gcode/bench/mechanics"
)

// Wordings is how many wordings there are that differ in every touch line;
// any number from 1 is a wording, and later ones recombine.
const Wordings = 24

// Wording is how one printer speaks: every sentence that design/3 leaves open.
// All sentences are made up here.
type Wording struct {
	End       string // of each line
	pre       string // before reports: echo:, // or nothing
	before    string // words before the numbers of a touch
	after     string // words after them
	style     axisStyle
	okStyle   int
	Banner    []string // after a restart
	Halt      string   // after a halt; "": nothing
	rs        bool     // rs instead of Resend:
	rows      int      // style of map rows
	header    bool
	bracketed string
	lever_    string
	limitsAs  int
	keys      [3]string
	at        int  // which of a few sentences
	Short     bool // temperatures in single words
}

// axisStyle is how a place is written.
type axisStyle struct {
	lower  bool   // x, not X
	sign   string // between letter and number
	gap    string // between axes
	naked  bool   // -.05 instead of -0.05
	always bool   // + before what is positive
}

var touchWords = []string{
	"Touched bed at", "probe down:", "contact", "Surface found near", "tip met plate at", "[probe]", "bed height at", "point ->",
	"Triggered:", "measured", "Fuehler bei", "touch no. 4 at", "result", "Sensor closed at", "plate:", "sample taken,",
	"Height reading", "got one:", "hit at", "tap =", "ground at", "reading (mm)", "P:", "switch changed at",
}

var touchTails = []string{
	"", "", "  mm", " (steady)", " after 2 tries", " dt 0.41", " E0", " ok.", " | raw 1023", " ; n=1", "", " done",
}

// New returns wording number n, from 1.
func New(n int) Wording {
	r := rand.New(rand.NewPCG(uint64(n), 77))
	pick := func(s ...string) string { return s[r.IntN(len(s))] }
	w := Wording{
		End:    pick("\n", "\n", "\r\n"),
		pre:    pick("", "echo:", "echo: ", "// ", ""),
		before: touchWords[(n-1)%len(touchWords)],
		after:  touchTails[r.IntN(len(touchTails))],
		style: axisStyle{
			lower: r.IntN(3) == 0, sign: pick(":", ": ", "", "=", " = ", " "), gap: pick(" ", "  ", ", ", " / ", ","),
			naked: r.IntN(4) == 0, always: r.IntN(5) == 0,
		},
		okStyle: r.IntN(4), rs: r.IntN(3) == 0, rows: r.IntN(6), header: r.IntN(2) == 0,
		Halt:      pick("", "Error:machine halted, reset the board", "!! stopped until reset", ""),
		bracketed: pick("TCH", "contact", "probed", "AT", "hit"),
		lever_:    pick("M851", "Probe sits at", "lever:", "probe arm", "M851 is now"),
		limitsAs:  r.IntN(4),
		at:        r.IntN(4),
	}
	w.keys = [3]string{pick("MODEL", "NAME", "BOARD_NAME"), pick("BUILD", "RELEASE", "REV"), pick("SERIAL", "UNIT", "ID")}
	w.Banner = [][]string{
		{"start"},
		{"start", "echo: settings read, 412 bytes", "echo: free memory 5312"},
		{"start", "// hello, this is " + w.keys[0], "// map found in storage"},
		{"start", "boot reason 4", "card: none"},
	}[r.IntN(4)]
	return w
}

func (s axisStyle) axis(letter byte, v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if s.naked {
		text = strings.Replace(text, "0.", ".", 1)
		if lead := strings.TrimLeft(text, "-+"); lead == "" || lead == "." {
			text = "0"
		}
		if math.Abs(v) >= 1 {
			text = strconv.FormatFloat(v, 'f', decimals, 64)
		}
	}
	if s.always && v >= 0 {
		text = "+" + text
	}
	if s.lower {
		letter += 'a' - 'A'
	}
	return string(letter) + s.sign + text
}

func (s axisStyle) place(x, y, z float64, dxy, dz int) string {
	return s.axis('X', x, dxy) + s.gap + s.axis('Y', y, dxy) + s.gap + s.axis('Z', z, dz)
}

// Touch tells a touch.
func (w Wording) Touch(x, y, z float64, decimals int) string {
	return w.pre + w.before + " " + w.style.place(x, y, z, 2, decimals) + w.after
}

// Bracket tells a straight probe (RS-274/NGC).
func (w Wording) Bracket(c mechanics.Vec, hit bool, decimals int) string {
	d := max(decimals, 2)
	return fmt.Sprintf("[%s:%.*f,%.*f,%.*f:%s]", w.bracketed, d, c[0], d, c[1], d, c[2], bit[hit])
}

// Place tells where the head is, with motor steps.
func (w Wording) Place(c mechanics.Vec, e float64, actual mechanics.Vec, decimals int) string {
	sep := []string{" ", " ", "  ", " "}[w.at]
	return fmt.Sprintf("X:%.2f%sY:%.2f%sZ:%.*f%sE:%.2f Count X:%d Y:%d Z:%d", c[0], sep, c[1], sep, decimals, c[2], sep, e,
		steps(actual[0], 80), steps(actual[1], 80), steps(actual[2], 400))
}

var bit = map[bool]string{false: "0", true: "1"}

func steps(mm, per float64) int { return int(math.Round(mm * per)) }

// Temperatures tells both heaters.
func (w Wording) Temperatures(h [2]mechanics.Heater, t float64) string {
	if w.Short {
		return fmt.Sprintf("T:%.1f/%.1f B:%.1f/%.1f", h[0].At(t), h[0].Target, h[1].At(t), h[1].Target)
	}
	return fmt.Sprintf("T:%.2f /%.2f B:%.2f /%.2f", h[0].At(t), h[0].Target, h[1].At(t), h[1].Target)
}

// Warmth is the nozzle's temperature in one word.
func (w Wording) Warmth(h [2]mechanics.Heater, t float64) string {
	return fmt.Sprintf("T:%.1f", h[0].At(t))
}

// Ok ends a command. tail is a report that belongs on the same line.
func (w Wording) Ok(number int, tail, temperatures string) string {
	switch {
	case tail != "":
		return "ok " + tail
	case w.okStyle == 1 && number >= 0:
		return fmt.Sprintf("ok N%d P15 B3", number)
	case w.okStyle == 1:
		return "ok P15 B3"
	case w.okStyle == 2:
		return "ok " + temperatures
	}
	return "ok"
}

// Resend asks for line n again.
func (w Wording) Resend(n int) string {
	if w.rs {
		return fmt.Sprintf("rs %d", n)
	}
	return fmt.Sprintf("Resend: %d", n)
}

// Damaged says why a line was not taken, and which was the last that was.
func (w Wording) Damaged(why string, last int) string {
	return fmt.Sprintf("Error:%s, Last Line: %d", why, last)
}

// Sentence is what a printer says in words of its own.
type Sentence int

// The sentences. What Unknown and Refused are about stands behind them.
const (
	Busy Sentence = iota
	BadNode
	Unknown
	Refused
	Unhomed
	Unreachable
	Triggered
	NoContact
	Kept
	Recalled
	noPrint
	printRuns
	mapHead
	settingsHead
	levelling
)

var sentences = [...][4]string{
	Busy:         {"echo:busy: at work", "busy", "// still busy with it", "echo: busy, moving"},
	BadNode:      {"Error:no such node", "Error:node out of the map", "Error:I or J or value wrong", "Error:cannot set that node"},
	Unknown:      {"no such Word here: ", "cannot do ", "what is this? ", "not understood - "},
	Refused:      {"not now: ", "refused, ", "will not do ", "no: "},
	Unhomed:      {"position not known, home first", "axes have to be homed", "where am I? home me", "homing is missing"},
	Unreachable:  {"the probe does not get there", "place out of reach", "beyond what can be probed", "too far out"},
	Triggered:    {"probe is closed already", "sensor active before the start", "raise first", "no free probe"},
	NoContact:    {"nothing met", "no contact on the way", "came to the end without a signal", "probe stayed open"},
	Kept:         {"all settings kept (612 bytes)", "written to storage", "saved", "settings stored, sum 4218"},
	Recalled:     {"settings read back", "from storage", "as kept", "settings loaded"},
	noPrint:      {"no print runs", "storage idle", "nothing printing", "not printing from storage"},
	printRuns:    {"printing byte %d/%d", "at %d/%d", "progress %d/%d of file", "file %d/%d"},
	mapHead:      {"stored map:", "heights in mm", "Map, 3 digits:", "plate"},
	settingsHead: {"settings in force:", "; all settings", "what is set now", "report"},
	levelling:    {"levelling %s", "map is %s", "Height map: %s", "following the map: %s"},
}

// Say says a sentence, about what where it needs that.
func (w Wording) Say(s Sentence, what ...string) string {
	text := sentences[s][w.at] + strings.Join(what, "")
	if s == Busy || s == BadNode {
		return text // known by how they begin
	}
	return w.pre + text
}

// Print tells how far a print from its own storage has come: done, total; total 0 is none.
func (w Wording) Print(done [2]int64) string {
	if done[1] == 0 {
		return w.Say(noPrint)
	}
	return fmt.Sprintf(w.Say(printRuns), done[0], done[1])
}
