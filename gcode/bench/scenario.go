package bench

import (
	"fmt"
	"strings"

	"abbed/gcode/bench/mechanics"
)

// Scenario is one printer with, as a rule, one thing off, and what may be
// expected of a program that measures it.
type Scenario struct {
	Name    string
	Says    string   // what is off, and why the expectation follows
	Finding string   // the finding that comes first
	Also    []string // further findings that have to be among them, wherever
	Table   bool     // a table is expected to be offered
	// Compensable says that the machine is steady and that what is off can be
	// put right in its map. True without Table: not this time (a stale map).
	Compensable bool

	mechanics.Machine
	mechanics.Probe
	Wire
}

// Wire is how the printer behaves on the line.
type Wire struct {
	Decimals      int      // of the heights it reports: 2 or 3
	Straight38    bool     // probes straight (G38.2) instead of G30
	Bracket       bool     // G38.2 answers with a bracketed place, else M114 is to be asked
	TouchRaw      bool     // a touch reports the bare trigger height, without the probe's Z offset
	LowTravel     bool     // G30 travels at the present Z; else it raises to Clearance first
	NoFraming     bool     // N..*.. is not understood
	ActualPlace   bool     // M114 says where the head is, not where it will be
	HomeLevelsOff bool     // G28 switches the stored levelling off
	HomeLevelsOn  bool     // G28 switches it on
	HomeLimitsOn  bool     // G28 switches the travel limits on
	LevelledStart bool     // the stored levelling is on after a restart
	ResetOnOpen   bool     // opening restarts the board
	Chatter       float64  // virtual seconds between unasked temperature lines, 0 for none
	Echoes        float64  // virtual seconds between unasked reports, 0 for none
	Waits         float64  // virtual seconds between `wait` lines, 0 for none
	ShortTemps    bool     // temperatures in single words: T:21.3/0.0, and T:21.3 alone when not asked
	Baud          int      // bytes take their time at this rate, 0 for none
	Sinks         float64  // how far Z sinks when the motors go off, mm; the bed holds it
	Unknown       []string // words that this printer does not know
	Clearance     float64  // Z to which it raises after a touch and after homing, mm
	IdleOff       float64  // seconds after which the motors are switched off; 0 never
	Printing      bool     // a print runs from its own storage
	Stale         []Stale  // nodes of the stored map that the bed no longer has
}

// Stale is one node of the stored map that is off by so many mm.
type Stale struct {
	I, J int
	Off  float64
}

// Lookup returns the scenario of that name. The error lists the names.
func Lookup(name string) (Scenario, error) {
	var names []string
	for _, s := range Scenarios() {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Scenario{}, fmt.Errorf("bench: look up scenario %q: no such name; there are: %s", name, strings.Join(names, ", "))
}
