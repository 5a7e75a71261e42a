package description

func printerPaths() m {
	return m{
		"/api/v1/printer": path("", "", m{"get": verb{
			id: "printer", summary: "What is known of the printer, and which steps can be done.", free: true,
			status: 200, says: "The printer.", shape: ref("Printer"),
		}.operation()}),
		"/api/v1/check": path("", "", m{"get": verb{
			id: "check", summary: "When the next check is due.", about: "The calendar asks for a check when it is due (settings check.every and those beside it).", free: true,
			status: 200, says: "The calendar.", shape: ref("Check"),
		}.operation()}),
		"/api/v1/room": path("", "", m{"get": verb{
			id: "room", summary: "The printers that are known to this machine.", about: "Those whose daemons have the same directory in the setting room.", free: true,
			status: 200, says: "By their names.", shape: list(ref("Neighbour"), ""),
		}.operation()}),
		"/api/v1/printer/open": path("", "", m{"post": verb{
			id: "openPort", summary: "Give a person's word that the port may be opened.",
			about: "Opening the port of a real device may reset the board, and kill a print that runs from the printer's own storage.",
			body:  closed(all(m{"person": text("who gives the word")})), refusals: []int{409, 503},
			status: 202, says: "The port is being opened.", shape: ref("Printer"),
		}.operation()}),
	}
}

// known is a value with where it came from.
func known(value m, what string) m {
	return describe(what, object(m{
		"value":  orNull(value),
		"source": oneOf("asked of the printer, set by the owner, or a default", "asked", "set", "default"),
	}, "value"))
}

func printerShapes() m {
	rect := all(m{"x0": number(""), "y0": number(""), "x1": number(""), "y1": number("")})
	box := all(m{"x0": number(""), "y0": number(""), "z0": number(""), "x1": number(""), "y1": number(""), "z1": number("")})
	xy := all(m{"x": number(""), "y": number("")})
	return m{
		"Printer": object(m{
			"name": text("what the owner calls the printer"),
			"todo": list(ref("Todo"), "what a person should do, the gravest first"),
			"link": oneOf("unopened: waits for a person's word; connecting; ready; resting: identified, port given back until a run; taken: another program holds the port; lost",
				"unopened", "connecting", "ready", "resting", "taken", "lost"),
			"sentence":       text("the state of the link in words, with what to do"),
			"port":           text("the name under which the printer is reached"),
			"identity":       m{"type": "object", "additionalProperties": m{"type": "string"}, "description": "what the printer says of itself"},
			"id":             text("a stable fingerprint of the identity"),
			"homed":          boolean(""),
			"lever":          known(xy, "from nozzle to probe, mm"),
			"trigger_height": known(m{"type": "number"}, "the nozzle's height at a touch at the zero point, mm"),
			"travel":         known(box, "of the nozzle, not of the bed, mm"),
			"bed":            known(rect, "mm"),
			"layout":         known(oneOf("", "moving-bed", "moving-gantry"), "what carries the Y axis"),
			"map_area":       known(rect, "where the bed map has its nodes: first and last column and row, mm"),
			"zero_place":     known(xy, "where the Z offset was set, mm"),
			"map_size":       known(all(m{"columns": count("along X"), "rows": count("along Y")}), ""),
			"first_layer":    number("height of the first layer in the settings, mm"),
			"levelling":      known(m{"type": "boolean"}, "whether the stored levelling is on"),
			"temperatures": orNull(describe("as last heard, degrees C", all(m{
				"nozzle": number(""), "nozzle_target": number(""), "bed": number(""), "bed_target": number(""),
				"heard": orNull(moment("when the printer said so; null if not known")),
			}))),
			"going": text("what a stop ends now: a run's id, or another name of what goes on; empty for nothing"),
			"owed":  list(m{"type": "string"}, "what a run switched off and could not put back"),
			"steps": m{"type": "object", "additionalProperties": ref("Can"), "description": "which steps can be done"},
		}, "name", "todo", "link", "sentence", "port", "identity", "id", "homed", "lever", "trigger_height", "travel", "bed", "layout",
			"map_area", "zero_place", "map_size", "first_layer", "levelling", "temperatures", "going", "owed", "steps"),
		"Check": object(m{
			"every_s": number("how long after a test the next check is due; 0: none is asked for"), "last": orNull(moment("of the last test for steadiness")),
			"due": orNull(moment("")), "waits": text("why a check that is due has not begun"), "sentence": text(""),
		}, "every_s", "last", "due", "sentence"),
		"Neighbour": all(m{
			"name": text(""), "url": text("of its page; empty if not known"), "port": text(""), "link": text("as of Printer"), "run": text("state of the latest run, or empty"),
			"applied": text("as of Applied"), "expired": text("why the correction no longer holds, in a word; empty: it does"), "todo": list(ref("Todo"), "what a person should do there, the gravest first"),
			"at": moment("when it last said so"), "ended": boolean("it was switched off then"), "silent": boolean("it should have said something since"),
		}),
		"Todo": all(m{
			"id": text("a name, which metrics and alerts use too"), "act": text("what to do"), "says": text("why"),
			"commands": list(m{"type": "string"}, "do it from a terminal; the first is the usual one"), "grave": boolean("no run begins, and no one should print, before it is done"),
		}),
		"Can": object(m{"can": boolean(""), "why_not": text("")}, "can"),
	}
}
