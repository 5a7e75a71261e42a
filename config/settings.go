package config

import (
	"strings"
	"time"

	"abbed/analysis/typed"
	"abbed/probe/record"
)

// Settings is everything that the owner can set. The table of Fields describes
// each; deploy/abbed.example.yaml holds those that an owner chooses.
type Settings struct {
	Port string `mapstructure:"port"`
	Baud int    `mapstructure:"baud"`
	DTR  string `mapstructure:"dtr"`
	// Hold says how long the port is held; Before and After are commands of the
	// owner that ask another program to let the port go and to take it back.
	Hold         string        `mapstructure:"hold"`
	Before       string        `mapstructure:"before"`
	After        string        `mapstructure:"after"`
	CommandLimit time.Duration `mapstructure:"command_limit"`

	Listen string `mapstructure:"listen"`
	// Socket is the path of a Unix socket for a button on this machine; empty:
	// none.
	Socket string `mapstructure:"socket"`
	// SocketGroup is the group that may use it; empty: that of the daemon.
	SocketGroup string `mapstructure:"socket_group"`
	Access      Access `mapstructure:"access"`
	// State is the directory of everything that is kept; Load fills in where
	// that is if nobody set it.
	State string `mapstructure:"state"`
	// Name is what this printer is called, Room the directory in which the
	// daemons of a machine tell each other where they are; both may be empty.
	Name     string `mapstructure:"name"`
	Room     string `mapstructure:"room"`
	LogLevel string `mapstructure:"log_level"`

	// Bed, MapArea, ZeroAt, Lever, Trigger and Travel are nil if not set: then
	// the printer is asked, or a default is said to be one.
	Bed       *Rect    `mapstructure:"bed"`
	MapArea   *Rect    `mapstructure:"map_area"`
	Layout    string   `mapstructure:"layout"`
	ZeroAt    *XY      `mapstructure:"zero_at"`
	Lever     *XY      `mapstructure:"lever"`
	Trigger   *float64 `mapstructure:"trigger"`
	Travel    *Rect    `mapstructure:"travel"`
	Clearance float64  `mapstructure:"clearance"`

	// Effort says how much is measured: size makes Repeat, Gauging and Survey of it.
	Effort string `mapstructure:"effort"`
	// Tolerance is the nozzle error that a first layer bears, Largest the largest
	// correction that is offered, Layer the first layer's height, Gauge the thickness of
	// the feeler gauge that is offered, mm.
	Tolerance float64 `mapstructure:"tolerance"`
	Largest   float64 `mapstructure:"largest"`
	Layer     float64 `mapstructure:"layer"`
	Gauge     float64 `mapstructure:"gauge"`

	// AttendedStarts lets a trigger from outside start a run without a new
	// confirmation.
	AttendedStarts bool `mapstructure:"attended_starts"`
	// Silence is how long the printer may say nothing.
	Silence time.Duration `mapstructure:"silence"`
	// IdleOff is the printer's own idle switch-off of the motors, which is put
	// back after a run.
	IdleOff time.Duration `mapstructure:"idle_off"`

	Probe     Probe     `mapstructure:"probe"`
	Feeds     Feeds     `mapstructure:"feeds"`
	Turns     Turns     `mapstructure:"turns"`
	Check     Check     `mapstructure:"check"`
	Heat      Heat      `mapstructure:"heat"`
	Proof     Proof     `mapstructure:"proof"`
	Desk      Desk      `mapstructure:"desk"`
	Words     Words     `mapstructure:"words"`
	Retention Retention `mapstructure:"retention"`

	// Repeat, Gauging and Survey are what Effort means: nobody sets them.
	Repeat  Repeat  `mapstructure:"-"`
	Gauging Gauging `mapstructure:"-"`
	Survey  Survey  `mapstructure:"-"`

	// Given says for each key that somebody set where Load read it, such as
	// "abbed.yaml:12"; a key that is not in it is at its default.
	Given map[string]string `mapstructure:"-"`
}

// Words of Access.From.
const (
	FromMachine = "machine" // nothing is open beyond this machine
	FromPhone   = "phone"   // Listen may be an address that other machines reach
	FromProxy   = "proxy"   // so it may, and Proxies are believed
)

// Access says what is open beyond this machine. Nothing is, by default.
type Access struct {
	From string `mapstructure:"from"`
	// Hosts are the further names under which the page is asked for.
	Hosts string `mapstructure:"hosts"`
	// Certificate and Key are files in PEM; Plain takes the lack of them.
	Certificate string `mapstructure:"certificate"`
	Key         string `mapstructure:"key"`
	Plain       bool   `mapstructure:"plain"`
	// Proxies and Scrapers are addresses and networks.
	Proxies  string `mapstructure:"proxies"`
	Scrapers string `mapstructure:"scrapers"`
	// ScrapeToken is a file.
	ScrapeToken string `mapstructure:"scrape_token"`
}

// Beyond reports whether Listen may be an address that other machines reach.
func (a Access) Beyond() bool { return a.From == FromPhone || a.From == FromProxy }

// Own reports whether abbed makes the certificate itself.
func (a Access) Own() bool { return a.From == FromPhone && a.Certificate == "" && !a.Plain }

// List returns the parts of a text with commas between them, without blanks.
func List(text string) []string {
	var out []string
	for part := range strings.SplitSeq(text, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// Words of Effort.
const (
	EffortQuick    = "quick"
	EffortNormal   = "normal"
	EffortThorough = "thorough"
)

// Plans of the gauging.
const (
	PlanNormal   = "normal"   // as many readings as the decision needs
	PlanThorough = "thorough" // every point, each several times
)

// Words of settings that take one of several.
const (
	MovingBed    = "moving-bed"
	MovingGantry = "moving-gantry"

	PlanFull = "full" // of the survey: every place
	PlanLean = "lean" // as few touches as the target needs

	StyleTouch    = "touch"    // one command moves, touches and reports
	StyleStraight = "straight" // a straight probe, as in RS-274/NGC

	KindUnknown   = "unknown"     // nobody said
	KindContact   = "contact-pin" // a pin or switch touches the bed
	KindInductive = "inductive"   // metal is sensed without a touch
	KindOptical   = "optical"     // light that comes back from the bed
	KindNozzle    = "nozzle-load" // the nozzle touches, its load is sensed

	DTRLeave = "leave" // as the system sets it; no pulse of our own
	DTROn    = "on"
	DTROff   = "off"

	HoldAuto   = "auto"   // a device for a run, anything else always
	HoldRun    = "run"    // the port is given back between runs
	HoldAlways = "always" // the port is held as long as the program runs
)

// Probe says how the printer touches.
type Probe struct {
	Style string `mapstructure:"style"`
	// AddsOffset says that touches are reported in the map's Z.
	AddsOffset bool `mapstructure:"adds_offset"`
	// Kind is how the probe feels the bed.
	Kind string `mapstructure:"kind"`
}

// Feeds are speeds, mm/s.
type Feeds struct {
	Travel float64 `mapstructure:"travel"`
	Z      float64 `mapstructure:"z"`
	// Probe is the speed of a straight probe on its way down.
	Probe float64 `mapstructure:"probe"`
}

// Repeat is the size of the repeat test.
type Repeat struct {
	Rounds int
	// Move is how far the head moves away between two touches, mm.
	Move float64
	// RowHalf is half the length of the row, RowStep its spacing, mm.
	RowHalf float64
	RowStep float64
	Passes  int
}

// Gauging is the size of the work at the blade.
type Gauging struct {
	// Plan is PlanNormal or PlanThorough; Target the largest u95 at which the normal plan
	// is content, mm.
	Plan    string
	Target  float64
	Records int
	// Columns of the zero place's row (0: by the width) and Rows of the full plan.
	Columns int
	Rows    int
	// Idle is how long a person may do nothing.
	Idle time.Duration
}

// Survey is the size of the dense pattern.
type Survey struct {
	// Plan is PlanFull or PlanLean; Target the half width of the profile that the
	// lean plan aims at, mm.
	Plan    string
	Target  float64
	Columns int
	Rows    int
	// BaseEvery is after how many rows the head returns to the base point.
	BaseEvery int
}

// Words of Check.Begins.
const (
	CheckAsks   = "ask"   // the check waits for a person's confirmation
	CheckBegins = "begin" // it begins by itself, as attended_starts allows
)

// Check is the quick check that the calendar asks for: the repeat test and a
// small survey.
type Check struct {
	// Every is how long after the last check the next one is due; 0: never.
	Every time.Duration `mapstructure:"every"`
	// Window is when it may be asked for, as ParseWindow reads it; empty: always.
	Window string `mapstructure:"window"`
	Begins string `mapstructure:"begins"`
	// Below is how hot nozzle and bed may be, degrees C; 0: any heat will do.
	Below float64 `mapstructure:"below"`
	// Heat has the check heat up first, to Settings.Heat.
	Heat bool `mapstructure:"heat"`
}

// Turns are the ways of one turn of what may leave a wave in the dense row, mm.
type Turns struct {
	WheelLeast float64 `mapstructure:"wheel_least"`
	WheelMost  float64 `mapstructure:"wheel_most"`
	Belt       float64 `mapstructure:"belt"`
	Screw      float64 `mapstructure:"screw"`
}

// Heat is what a run heats, degrees C; 0 heats nothing.
type Heat struct {
	Nozzle    float64 `mapstructure:"nozzle"`
	Bed       float64 `mapstructure:"bed"`
	NozzleMax float64 `mapstructure:"nozzle_max"`
	BedMax    float64 `mapstructure:"bed_max"`
	// Time is how long heating up may take.
	Time time.Duration `mapstructure:"time"`
}

// Desk is what the repair desk has to know.
type Desk struct {
	// Supports are the places of the screws that hold the bed: x,y with blanks
	// between them; a turn of one moves the bed by Pitch, mm.
	Supports string  `mapstructure:"supports"`
	Pitch    float64 `mapstructure:"pitch"`
}

// Places returns the supports, mm; none if they cannot be read, with the cause.
func (d Desk) Places() ([]XY, error) {
	read, err := typed.Places(d.Supports)
	var out []XY
	for _, p := range read {
		out = append(out, XY{p[0], p[1]})
	}
	return out, err
}

// Proof says how a proof print is printed: mm, mm/s, degrees C.
type Proof struct {
	Width    float64 `mapstructure:"width"`
	Filament float64 `mapstructure:"filament"`
	Retract  float64 `mapstructure:"retract"`
	Nozzle   float64 `mapstructure:"nozzle"`
	Bed      float64 `mapstructure:"bed"`
	// Start and End are files of the person's own; empty: ours.
	Start string `mapstructure:"start"`
	End   string `mapstructure:"end"`
}

// Words are the printer's own words where they differ from the usual ones:
// command templates and reply patterns by name. Never nil after Default or
// Load.
type Words struct {
	Templates map[string]string `mapstructure:"templates"`
	Patterns  map[string]string `mapstructure:"patterns"`
}

// Retention bounds what is kept.
type Retention struct {
	Days      int `mapstructure:"days"`
	Megabytes int `mapstructure:"megabytes"`
}

// Default returns the settings that hold when nobody sets anything. State is
// empty: Load fills it in.
func Default() Settings {
	c := record.DefaultCriteria()
	s := Settings{
		Baud: 115200, DTR: DTRLeave, Hold: HoldAuto, CommandLimit: 30 * time.Second, Listen: "127.0.0.1:8077", LogLevel: "info",
		Access: Access{From: FromMachine},
		Layout: MovingBed, Clearance: 5,
		Effort: EffortNormal, Tolerance: c.Tolerance, Largest: c.Largest, Layer: 0.2, Gauge: 0.10,
		Silence: 10 * time.Second, IdleOff: 2 * time.Minute,
		Probe:     Probe{Style: StyleTouch, AddsOffset: true, Kind: KindUnknown},
		Feeds:     Feeds{Travel: 100, Z: 8, Probe: 5},
		Turns:     Turns{WheelLeast: c.WheelLeast, WheelMost: c.WheelMost, Belt: c.BeltTurn, Screw: c.ScrewLead},
		Check:     Check{Begins: CheckAsks, Below: 40},
		Heat:      Heat{NozzleMax: 260, BedMax: 110, Time: 20 * time.Minute},
		Proof:     Proof{Width: 0.45, Filament: 1.75, Retract: 0.8},
		Desk:      Desk{Pitch: 0.7}, // ISO 261: M4 coarse, the usual screw of a bed (common practice, no source)
		Words:     Words{Templates: map[string]string{}, Patterns: map[string]string{}},
		Retention: Retention{Days: 730, Megabytes: 500},
	}
	s.size()
	return s
}

// size makes of Effort how much is measured. The repeat test judges the machine and is
// always whole. quick plans the survey for its target by the scatter that the repeat test
// found (on a bed of 235 mm some 90 touches and not 183); thorough reads every point of a
// fixed plan twice.
func (s *Settings) size() {
	s.Repeat = Repeat{Rounds: 6, Move: 12, RowHalf: 60, RowStep: 3, Passes: 3}
	s.Gauging = Gauging{Plan: PlanNormal, Target: 0.020, Records: 2, Rows: 3, Idle: 5 * time.Minute}
	s.Survey = Survey{Plan: PlanFull, Target: 0.005, Columns: 25, Rows: 7, BaseEvery: 1}
	switch s.Effort {
	case EffortQuick:
		s.Survey.Plan = PlanLean
	case EffortThorough:
		s.Gauging.Plan = PlanThorough
	}
}
