package wire

import (
	"fmt"
	"strings"

	"abbed/gcode/bench/mechanics"
)

// Identity tells who the printer is, and whether it takes framed lines and talks by itself.
func (w Wording) Identity(framing, chatters bool) []string {
	head := fmt.Sprintf("%s:Bench-%d %s:2.%d %s:%04d%04d AXES:3", w.keys[0], 100+w.at, w.keys[1], w.rows, w.keys[2], 1200+w.rows, 77*w.at)
	return []string{head, "Cap:HEIGHT_MAP:1", "Cap:LINE_CHECK:" + bit[framing], "Cap:OWN_TEMPERATURES:" + bit[chatters]}
}

// Lever tells the offset of the probe.
func (w Wording) Lever(v mechanics.Vec) string {
	return w.pre + w.lever_ + " " + w.style.place(v[0], v[1], v[2], 2, 2)
}

// Levelling tells whether the stored levelling is on.
func (w Wording) Levelling(on bool) string {
	return fmt.Sprintf(w.Say(levelling), onOff(on, w.at))
}

func onOff(on bool, style int) string {
	pair := [][2]string{{"off", "on"}, {"Off", "On"}, {"OFF", "ON"}, {"off", "on"}}[style]
	if on {
		return pair[1]
	}
	return pair[0]
}

// Limits tells two triples, lower then upper, and on or off.
func (w Wording) Limits(t mechanics.Box, on bool) []string {
	lower := w.style.place(t.Min[0], t.Min[1], t.Min[2], 1, 1)
	upper := w.style.place(t.Max[0], t.Max[1], t.Max[2], 1, 1)
	state := onOff(on, w.at)
	switch w.limitsAs {
	case 0:
		return []string{w.pre + "travel limits " + state + "  lower " + lower + "  upper " + upper}
	case 1:
		return []string{w.pre + "limits: " + state, w.pre + "min " + lower + " max " + upper}
	case 2:
		return []string{w.pre + "end of travel [" + lower + "] to [" + upper + "] " + state}
	}
	return []string{w.pre + "from " + lower, w.pre + "to " + upper, w.pre + "switched " + state}
}

// MapRows prints a map, J by J from the smallest Y, I along X, to 0.001 mm.
func (w Wording) MapRows(g mechanics.Grid) []string {
	lines := []string{w.Say(mapHead)}
	if w.header {
		head := "  "
		for i := range g.Z[0] {
			head += fmt.Sprintf("%8d", i)
		}
		lines = append(lines, head)
	}
	for j, row := range g.Z {
		cells := make([]string, len(row))
		for i, z := range row {
			cells[i] = fmt.Sprintf([]string{"%+.3f", "%.3f", "%7.3f", "%+.3f", "%8.3f", "%.3f"}[w.rows], z)
		}
		lines = append(lines, fmt.Sprintf(
			[]string{" %d %s", "%d  %s", "%2d %s", "[%d: %s]", "%d | %s", "%d, %s"}[w.rows], j,
			strings.Join(cells, []string{" ", "  ", " ", ", ", " ", ", "}[w.rows])))
	}
	return lines
}

// Settings prints settings as the commands that would set them.
func (w Wording) Settings(commands []string) []string {
	lines := []string{w.Say(settingsHead)}
	for k, c := range commands {
		lines = append(lines, w.pre+c)
		if k == 0 {
			lines = append(lines, w.pre+"M92 X80.00 Y80.00 Z400.00 E97.00")
		}
	}
	return lines
}
