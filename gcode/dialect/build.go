package dialect

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"abbed/gcode"
	"abbed/probe/record"
)

// num writes a number with at most three decimals, as printers take it.
func num(v float64) string {
	if math.IsNaN(v) || math.Abs(v) >= absurd {
		panic(fmt.Sprintf("dialect: %v cannot stand in a command", v))
	}
	s := strconv.FormatFloat(v, 'f', 3, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// micro writes whole micrometres as millimetres, exactly.
func micro(um int64) string {
	return strconv.FormatFloat(float64(um)/1000, 'f', 3, 64)
}

// fill puts numbers into the places of a template: name, number, name, number.
func (d *Dialect) fill(key string, pairs ...string) string {
	for i := 0; i < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(d.templates[key])
}

// query gives a command; the zero Query, which no Session sends, if the machine has no
// such word.
func (d *Dialect) query(text string, hints ...gcode.Hint) gcode.Query {
	if text == "" {
		return gcode.Query{}
	}
	return gcode.NewQuery(text, hints...)
}

func (d *Dialect) motion(text string, hints ...gcode.Hint) gcode.Motion {
	if text == "" {
		return gcode.Motion{}
	}
	return gcode.NewMotion(text, hints...)
}

// ask is the query of a template whose answer is worthless unless it has something.
func (d *Dialect) ask(key string, has func(gcode.Reply) bool) gcode.Query {
	return d.query(d.templates[key], needs(has))
}

// needs makes a hint out of a reader.
func needs(has func(gcode.Reply) bool) gcode.Hint {
	return gcode.Needs(func(lines []gcode.Line) bool { return has(gcode.Reply{Lines: lines}) })
}

// found makes out of a reader whether it reads something.
func found[T any](read func(gcode.Reply) (T, bool)) func(gcode.Reply) bool {
	return func(r gcode.Reply) bool { _, ok := read(r); return ok }
}

// Identify asks who the printer is.
func (d *Dialect) Identify() gcode.Query { return d.ask("identify", found(d.ReadIdentity)) }

// Where asks for the position.
func (d *Dialect) Where() gcode.Query { return d.ask("where", found(d.stop)) }

// Temperatures asks for the temperatures and their targets.
func (d *Dialect) Temperatures() gcode.Query { return d.ask("temperatures", found(d.ReadTemperatures)) }

// Settings asks for everything that is in force.
func (d *Dialect) Settings() gcode.Query {
	return d.ask("settings", func(r gcode.Reply) bool { return d.ReadSettings(r) != "" })
}

// Lever asks for the offset of the probe from the nozzle.
func (d *Dialect) Lever() gcode.Query {
	return d.ask("lever", func(r gcode.Reply) bool { _, _, ok := d.ReadLever(r); return ok })
}

// Limits asks for the travel limits of the nozzle.
func (d *Dialect) Limits() gcode.Query { return d.ask("limits", found(d.ReadLimits)) }

// LimitsSwitch switches the travel limits.
func (d *Dialect) LimitsSwitch(on bool) gcode.Query { return d.query(d.templates[onOff("limits", on)]) }

// Levelling switches the stored levelling.
func (d *Dialect) Levelling(on bool) gcode.Query { return d.query(d.templates[onOff("levelling", on)]) }

func onOff(key string, on bool) string {
	if on {
		return key + "_on"
	}
	return key + "_off"
}

// Map asks for the stored map.
func (d *Dialect) Map() gcode.Query {
	return d.ask("map", func(r gcode.Reply) bool { _, ok, err := d.ReadMap(r); return ok && err == nil })
}

// Node sets one node of the stored map to a value: i counts along X, j along Y,
// from the smallest.
func (d *Dialect) Node(i, j int, um int64) gcode.Query {
	return d.query(d.fill("node", "i", strconv.Itoa(i), "j", strconv.Itoa(j), "z", micro(um)))
}

// Keep stores everything that is in force, not only the map.
func (d *Dialect) Keep() gcode.Query { return d.query(d.templates["keep"]) }

// Settle waits until all moves are done.
func (d *Dialect) Settle() gcode.Query { return d.query(d.templates["settle"], gcode.In(gcode.Move)) }

// Printing asks whether a print runs from the printer's own storage.
func (d *Dialect) Printing() gcode.Query { return d.query(d.templates["printing"]) }

// IdleOff sets after how many seconds idle motors are switched off.
func (d *Dialect) IdleOff(seconds int) gcode.Query {
	return d.query(d.fill("idle_off", "s", strconv.Itoa(max(seconds, 0))))
}

// Absolute makes coordinates absolute.
func (d *Dialect) Absolute() gcode.Query { return d.query(d.templates["absolute"]) }

// Home finds the machine's own zero.
func (d *Dialect) Home() gcode.Motion { return d.motion(d.templates["home"], gcode.In(gcode.Home)) }

// Touch touches the bed with the probe at place p. The zero Motion if the
// machine has no such word.
func (d *Dialect) Touch(p record.Place) gcode.Motion {
	return d.motion(d.fill("touch", "x", num(p.U), "y", num(p.V)), gcode.In(gcode.Touch), needs(found(d.touch)))
}

// ProbeDown probes straight down to z at most, mm, with feed, mm/min.
func (d *Dialect) ProbeDown(z, feed float64) gcode.Motion {
	return d.motion(d.fill("probe_down", "z", num(z), "feed", num(feed)), gcode.In(gcode.Touch), needs(found(d.touch)))
}

// ProbeDownMute is ProbeDown for a machine that is known not to report where the
// probe stopped: nothing is waited for but the ok.
func (d *Dialect) ProbeDownMute(z, feed float64) gcode.Motion {
	return d.motion(d.fill("probe_down", "z", num(z), "feed", num(feed)), gcode.In(gcode.Touch))
}

// MoveXY moves the nozzle, with feed in mm/min.
func (d *Dialect) MoveXY(n record.Nozzle, feed float64) gcode.Motion {
	return d.motion(d.fill("move_xy", "x", num(n.X), "y", num(n.Y), "feed", num(feed)))
}

// MoveZ moves the nozzle to height z, with feed in mm/min.
func (d *Dialect) MoveZ(z, feed float64) gcode.Motion {
	return d.motion(d.fill("move_z", "z", num(z), "feed", num(feed)))
}

// HeatNozzle sets the nozzle's target, degrees C, and does not wait.
func (d *Dialect) HeatNozzle(c float64) gcode.Motion { return d.heat("heat_nozzle", c) }

// HeatBed sets the bed's target, degrees C, and does not wait.
func (d *Dialect) HeatBed(c float64) gcode.Motion { return d.heat("heat_bed", c) }

func (d *Dialect) heat(key string, c float64) gcode.Motion {
	return d.motion(d.fill(key, "c", num(c)))
}

// CoolAll switches all heaters off, one command each.
func (d *Dialect) CoolAll() []gcode.Motion {
	var all []gcode.Motion
	for _, key := range [...]string{"heat_nozzle", "heat_bed"} {
		if d.Has(key) {
			all = append(all, d.heat(key, 0))
		}
	}
	return all
}
