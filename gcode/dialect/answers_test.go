package dialect_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"abbed/gcode/dialect"
	"abbed/probe/record"
)

func TestLever(t *testing.T) {
	d := standard(t)
	settings := []string{"echo:; Steps per unit:", "echo: M92 X80.00 Y80.00 Z400.00 E93.00", "echo: M203 X500.00 Y500.00 Z5.00", "echo: M851 X-44.00 Y-12.00 Z-2.35", "echo: M206 X0.00 Y0.00 Z0.00"}
	for _, c := range []struct {
		lines []string
		ok    bool
	}{
		{[]string{"M851 X-44.00 Y-12.00 Z-2.35"}, true},
		{[]string{"Probe offset X:-44.00 Y:-12.00 Z:-2.35"}, true},
		{[]string{"// probe arm x = -44, y = -12, z = -2.35"}, true},
		{[]string{"Probe X offset -44.0 Y offset -12.0 Z offset -2.35"}, true},
		{settings, true},
		{append(settings[:3:3], settings[4]), false},           // a settings report without it
		{[]string{"M92 X80.00 Y80.00 Z400.00"}, false},         // another word
		{[]string{`echo:Unknown command: "M851"`}, false},      // not known
		{[]string{"X:1 Y:2 Z:3 E:0 Count X:1 Y:1 Z:1"}, false}, // a position
		{[]string{"at X-44 Y-12 Z-2.35", "at X-44 Y-12 Z-2.30"}, false},
		{[]string{"M851 Z-2.35"}, false},
		{[]string{"M851 X-440 Y-12 Z-2.35"}, false}, // wider than any head
		{[]string{"ok"}, false},
	} {
		l, z, ok := d.ReadLever(reply(append(c.lines, "ok")...))
		if ok != c.ok || ok && (l != record.Lever{X: -44, Y: -12} || z != -2.35) {
			t.Errorf("%q: %v %v %v", c.lines, l, z, ok)
		}
	}
}

func TestLimits(t *testing.T) {
	d := standard(t)
	for _, lines := range [][]string{
		{"Travel limits on  lower X0.0 Y-5.0 Z0.0  upper X235.0 Y240.0 Z250.0"},
		{"limits: enabled", "min X:0 Y:-5 Z:0", "max X:235 Y:240 Z:250"},
		{"echo:[X 0 Y -5 Z 0] .. [X 235 Y 240 Z 250] ON"},
		{"M211 S1", "from x=0 y=-5 z=0", "to x=235 y=240 z=250"},
	} {
		if strings.HasPrefix(lines[0], "M211") {
			continue // in a settings report plain lines are not believed
		}
		lim, ok := d.ReadLimits(reply(append(lines, "ok")...))
		want := record.Travel{Rect: record.Rect{X0: 0, Y0: -5, X1: 235, Y1: 240}, Z0: 0, Z1: 250}
		if !ok || lim.Travel != want || !lim.On || !lim.Known {
			t.Errorf("%q: %+v %v", lines, lim, ok)
		}
	}
	for _, lines := range [][]string{
		{"X0 Y0 Z0"}, {"X0 Y0 Z0 X0 Y0 Z0"}, {"X235 Y235 Z250 X0 Y0 Z0"}, {"X0 Y0 Z0 X1 Y1 Z1 X2 Y2 Z2"}, {"what?"}, {"M92 X0 Y0 Z0", "M93 X1 Y1 Z1"},
	} {
		if lim, ok := d.ReadLimits(reply(append(lines, "ok")...)); ok {
			t.Errorf("%q: %+v", lines, lim)
		}
	}
}

func TestTemperatures(t *testing.T) {
	d := standard(t)
	full := dialect.Temps{Nozzle: 200.1, NozzleTarget: 210, Bed: 59.9, BedTarget: 60, HasBed: true, Targets: true}
	for _, c := range []struct {
		line string
		want dialect.Temps
		ok   bool
	}{
		{"ok T:200.1 /210.0 B:59.9 /60.0 T0:200.1 /210.0 @:127 B@:0", full, true},
		{"ok T:200.1/210.0 B:59.9/60.0", full, true},
		{" T:200.10 /210.00 B:59.90 /60.00 W:3", full, true},
		{"T0:200.1 /0.0 T1:30.0 /210.0 B:59.9 /60.0", full, true},
		{"ok T:200.1 B:59.9 /60", dialect.Temps{Nozzle: 200.1, Bed: 59.9, BedTarget: 60, HasBed: true}, true},
		{"ok T:200.1 /210", dialect.Temps{Nozzle: 200.1, NozzleTarget: 210, Targets: true}, true},
		{"ok T:nan /0.0", dialect.Temps{}, false},
		{"ok B:20 /0", dialect.Temps{}, false},
		{"ok", dialect.Temps{}, false},
		{"what is M105", dialect.Temps{}, false},
	} {
		if got, ok := d.ReadTemperatures(reply(c.line, "ok")); !strings.HasPrefix(c.line, "ok") && (ok != c.ok || got != c.want) {
			t.Errorf("%q: %+v %v", c.line, got, ok)
		}
		if got, ok := d.ReadTemperatures(reply(c.line)); ok != c.ok || got != c.want {
			t.Errorf("%q: %+v %v", c.line, got, ok)
		}
	}
}

func TestPositionIdentityPrintingLevelling(t *testing.T) {
	d := standard(t)
	x, y, z, ok := d.ReadPosition(reply("X:10.00 Y:20.00 Z:0.30 E:1.00 Count X:800 Y:1600 Z:120", "ok"))
	if !ok || x != 10 || y != 20 || z != 0.3 {
		t.Errorf("position %v %v %v %v", x, y, z, ok)
	}
	id, ok := d.ReadIdentity(reply("NAME:Rig two (v 1.2) SOURCE:https://example.org/x:y UNIT:12:34", "Cap:REPORTS:1", "Cap:BUSY_LINES:0", "ok"))
	if !ok || id.Fields["NAME"] != "Rig two (v 1.2)" || id.Fields["SOURCE"] != "https://example.org/x:y" || id.Fields["UNIT"] != "12:34" || !id.Caps["REPORTS"] || id.Caps["BUSY_LINES"] || len(id.Caps) != 2 {
		t.Errorf("identity %+v %v", id, ok)
	}
	id, ok = d.ReadIdentity(reply("echo:NAME:Rig three UNIT:7", "T:20.0 /0.0 B:20.0 /0.0", "ok"))
	if !ok || id.Fields["NAME"] != "Rig three" || id.Fields["UNIT"] != "7" {
		t.Errorf("identity in an echo: %+v %v", id, ok)
	}
	id, ok = d.ReadIdentity(reply("name:rig four", "ok"))
	if !ok || id.Fields["name"] != "rig four" {
		t.Errorf("identity in small letters: %+v %v", id, ok)
	}
	for _, lines := range [][]string{{"no idea"}, {"no such word: M115"}, {"what is:M115"}, {"T0:20.0 /0.0 T1:20.0 /0.0"}, {" T:20.0 /0.0"}} {
		if id, ok := d.ReadIdentity(reply(append(lines, "ok")...)); ok {
			t.Errorf("%q is an identity: %v", lines, id)
		}
	}
	for line, want := range map[string][2]bool{
		"printing byte 12/345": {true, true}, "0/0": {false, true}, "not printing": {false, true}, "12 of 345 done": {true, true},
		`echo:what is "M27"`: {false, true}, "T:200 /210 B:60 /60": {false, true}, "byte 12/345 T:200 /210": {true, true}, "on 12/3/2026 at 1": {false, true},
	} {
		if p, ok := d.ReadPrinting(reply(line, "ok")); p != want[0] || ok != want[1] {
			t.Errorf("%q: %v %v", line, p, ok)
		}
	}
	if _, ok := d.ReadPrinting(reply()); ok {
		t.Error("no answer means not printing")
	}
	for line, want := range map[string][2]bool{
		"M420 S1 Z0": {true, true}, "echo: M420 S0": {false, true}, "Bed levelling: ON": {true, true}, "leveling off": {false, true},
		"levelling is active, fade off": {true, true}, "map is on": {true, true}, "Height map: Off": {false, true},
		"map stored on card": {false, false}, "hello": {false, false}, "M851 S1": {false, false},
	} {
		if on, ok := d.ReadLevelling(reply(line, "ok")); on != want[0] || ok != want[1] {
			t.Errorf("%q: %v %v", line, on, ok)
		}
	}
	if _, ok := d.ReadLevelling(reply("level on", "level off", "ok")); ok {
		t.Error("two answers are one")
	}
}

func TestBuiltWords(t *testing.T) {
	d := standard(t)
	for got, want := range map[string]string{
		d.Touch(record.Place{U: 10.50049, V: -0.0001}).Text():  "G30 X10.5 Y0",
		d.ProbeDown(-2, 120).Text():                            "G38.2 Z-2 F120",
		d.MoveXY(record.Nozzle{X: 100, Y: 0.125}, 6000).Text(): "G1 X100 Y0.125 F6000",
		d.MoveZ(5, 600).Text():                                 "G1 Z5 F600",
		d.Node(3, 4, -57).Text():                               "M421 I3 J4 Z-0.057",
		d.Node(0, 0, 1200).Text():                              "M421 I0 J0 Z1.200",
		d.HeatNozzle(200).Text():                               "M104 S200",
		d.Levelling(false).Text():                              "M420 S0",
		d.LimitsSwitch(true).Text():                            "M211 S1",
		d.IdleOff(600).Text():                                  "M84 S600",
		d.Home().Text():                                        "G28",
		d.CoolAll()[0].Text() + "," + d.CoolAll()[1].Text():    "M104 S0,M140 S0",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("NaN enters a command")
		}
	}()
	d.MoveZ(math.NaN(), 1)
}

func TestStraightMachines(t *testing.T) {
	d, err := dialect.New(dialect.Straight())
	if err != nil || d.Touch(record.Place{}).Text() != "" || d.Has("touch") {
		t.Errorf("%v", err)
	}
	if !standard(t).Has("touch") {
		t.Error("the default probes straight")
	}
}

// All faults of the words are told at once, each with its key.
func TestFaultyWords(t *testing.T) {
	_, err := dialect.New(dialect.Words{
		Templates: map[string]string{
			"touch": "G30 X{x}", "node": "M421 I{i} J{j} Z{z} Q{q}", "nonsense": "M1", "home": "", "where": "M114\nG28", "lever": "G28", "keep": "M500;x", "move_z": "G1 Z{z} F{feed",
		},
		Patterns: map[string]string{"touch": "(", "lever": "(?P<x>.)", "other": "x"},
	})
	var we *dialect.WordsError
	if !errors.As(err, &we) {
		t.Fatal(err)
	}
	var keys []string
	for _, f := range we.Faults {
		keys = append(keys, f.Key)
		if f.Text == "" || f.Hint == "" || !strings.Contains(err.Error(), f.Key) {
			t.Errorf("%+v", f)
		}
	}
	want := "templates.home templates.keep templates.lever templates.move_z templates.node templates.nonsense templates.touch templates.where patterns.lever patterns.other patterns.touch"
	if got := strings.Join(keys, " "); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}

// TestIdentityWithoutEnd: what is kept of what a printer says of itself is bounded; an
// ordinary one is kept whole.
func TestIdentityWithoutEnd(t *testing.T) {
	lines := []string{"NAME:" + strings.Repeat("x", 4000), strings.Repeat("K", 4000) + ":1"}
	for i := range 1000 {
		lines = append(lines, fmt.Sprintf("KEY%d:value", i), fmt.Sprintf("Cap:C%d:1", i))
	}
	id, ok := standard(t).ReadIdentity(reply(append(lines, "ok")...))
	if !ok || len(id.Fields) != 64 || len(id.Caps) != 256 || len(id.Fields["NAME"]) != 200 || id.Fields["KEY1"] != "value" {
		t.Errorf("%d fields, %d capabilities, a value of %d letters", len(id.Fields), len(id.Caps), len(id.Fields["NAME"]))
	}
}
