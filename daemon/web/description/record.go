package description

// recordShapes describe the record of a run. It may hold more than is said
// here: it grows with what a run can do.
func recordShapes() m {
	at := all(m{"u": number(""), "v": number("")})
	touch := m{
		"n": count("number of its event"), "t": number("s since the run's start"),
		"place": at, "z": number("height in the bed map's Z, mm"),
		"side":   describe("where the head came from: −1 from the smaller coordinate, +1 from the larger, 0 not along this axis", all(m{"x": m{"enum": l{-1, 0, 1}}, "y": m{"enum": l{-1, 0, 1}}})),
		"series": oneOf("", "repeat", "row", "pair", "survey", "base", "half-turn", "quarter-turn", "reference", "stray", "given"),
		"pass":   count(""), "index": count(""), "spot": m{"type": "integer", "minimum": -1},
	}
	gauging := m{
		"n": count("number of its event"), "t": number("s since the run's start"),
		"spot": count(""), "place": at, "visit": count(""),
		"z": number("height of the nozzle with the gauge just dragging, mm"), "blade": number("thickness of the gauge, mm: the bed is at z less this"),
		"predicted": number("the bed contact that was expected, mm"), "presses": count("lowerings of this visit"),
	}
	nodes := open(all(m{"nodes": list(list(m{"type": "integer"}, ""), "heights in micrometres: rows along J from the smallest Y, columns along I from the smallest X")}))
	return m{
		"Record": open(object(m{
			"version": m{"type": "integer", "minimum": 1}, "id": text(""), "steps": list(m{"type": "string"}, ""), "by": text(""),
			"began":    moment(""),
			"setup":    m{"type": "object", "additionalProperties": true, "description": "what was known when the run began, with the printer's identity and the criteria"},
			"touches":  orNull(list(open(all(touch)), "")),
			"gaugings": orNull(list(open(all(gauging)), "")),
			"map":      describe("the bed map as read in this run", nodes),
			"last":     count("number of the last event"), "t": number("its time, s"),
		}, "version", "id", "steps", "began", "setup", "touches", "gaugings", "last", "t")),
	}
}
