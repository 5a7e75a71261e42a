package description

// benchPaths are what is done beside the machine.
func benchPaths() m {
	in := func(name, what, kind string) m {
		return m{"name": name, "in": "query", "required": false, "description": what, "schema": m{"type": kind}}
	}
	repair := verb{id: "repair", summary: "What a person can do with tools: shim, rails, screws of the bed, what to look for by hand.", free: true,
		about: "One step at a time, in the order in which to do them, each with what to measure after it. An act stands there only where it is known to help.", status: 200, says: "The repair desk.", shape: ref("Repair"), refusals: []int{404, 409, 422}}.operation()
	repair["parameters"] = l{
		in("mounting", "length between the brackets of the beam, mm; without it no shim has a thickness", "number"), in("spacing", "of a bracket's fasteners across the beam, mm; 20", "number"),
		in("width", "of the profile, mm; 20", "number"), in("height", "other side of its section, mm; as wide", "number"), in("rails", "distance of two rails, mm; 0: one beam", "number"),
		in("supports", "x,y of the bed's supports, mm, with blanks between them; those of the settings", "string"), in("pitch", "by how much a turn of their screws moves the bed, mm; that of the settings", "number"),
	}
	print := verb{id: "proofPrint", summary: "The file of a proof print, with its worksheet.", free: true,
		about:  "Single-layer patches by the owner's settings (proof.*), over what the run has gauged, or over the reach. Nothing is sent to the printer.",
		status: 200, says: "The file.", shape: ref("ProofPrint"), refusals: []int{404, 409, 422}}.operation()
	print["parameters"] = l{in("run", "the run; empty: none", "string"), in("in_force", "the correction that it is to be printed with: none (patches that would dig in are left out), map or file; empty: what is known", "string")}
	return m{
		"/api/v1/runs/{id}/repair": path("id", runID, m{"get": repair}),
		"/api/v1/proof-print":      m{"get": print},
		"/api/v1/runs/{id}/thickness": path("id", runID, m{"post": verb{
			id: "thickness", summary: "Micrometer readings of a proof print, and what they prove.",
			about: "They are kept with the run. Without a correction in force they join its fit as direct readings of the gap; with one they show what it left.",
			body: closed(object(m{
				"worksheet": text("the plan that it names; needed where patches are named by number"),
				"readings":  list(object(m{"patch": count("its number, or u and v"), "u": number("mm"), "v": number("mm"), "thickness": number("mm"), "gaps": boolean("its lines lie apart or are round on top; then without thickness")}), ""),
				"csv":       text("in place of readings, or beside them: a header patch,thickness or u,v,thickness"),
				"in_force":  oneOf("whether a correction was in force while it was printed: in the printer's map, or carried into the file", "none", "map", "file"),
				"person":    text("who read"),
			}, "in_force")),
			status: 200, says: "What they prove.", shape: ref("Proof"), refusals: []int{404, 409, 422},
		}.operation()}),
		"/api/v1/runs/{id}/readings": path("id", runID, m{"post": verb{
			id: "readings", summary: "What a person read from instruments of their own, after the run.",
			about: "Printed patches, the tilt of the head, touches along a straight reference: kept with the run, and joined to its fit as far as they do not contradict it. Of each quantity, and of references, the latest list counts: give all readings of one at once.",
			body: closed(object(m{
				"readings": list(object(m{"quantity": oneOf("of a patch, mm; of the head, deg", "coupon", "roll", "pitch"), "u": number("where the patch is, or the nozzle stood, mm"), "v": number("mm"),
					"value": number("mm or deg"), "doubt": number("its standard uncertainty, mm or deg; coupons without one have 0.012 mm")}, "quantity", "u", "v", "value"), ""),
				"csv": text("in place of readings, or beside them: a header quantity,x,y,value,u"),
				"reference": closed(object(m{"thickness": number("of the bar, mm"), "straight": number("the zone that its grade allows, mm"), "csv": text("touches along it: a header x,y,z,repeat; every place passed twice")},
					"thickness", "straight", "csv")),
				"in_force": oneOf("whether a correction was in force while coupons were printed; needed with coupons", "none", "map", "file"),
				"person":   text("who read"),
			})),
			status: 200, says: "What was kept, and what it tells.", shape: ref("ReadingsKept"), refusals: []int{404, 409, 422},
		}.operation()}),
	}
}

func benchShapes() m {
	d, xy := ref("Measured"), all(m{"x": number("mm"), "y": number("mm")})
	return m{
		"ReadingsKept": all(m{"coupons": count(""), "rolls": count(""), "pitches": count(""), "reference": count("touches of a straight reference"),
			"tells": list(m{"type": "string"}, "which earlier readings no longer count; what can be told now, and by what")}),
		"Repair": all(m{
			"cautions": list(m{"type": "string"}, "before anything is done with tools"),
			"largest":  describe("the largest nozzle error over the gauged area now, its size; null where it is not known", orNull(d)),
			"steps":    list(ref("RepairStep"), "one act at a time, in the order in which to do them"),
			"why":      text("why there is no step; empty where there is one"), "missing": text("what to say to get more steps; empty for nothing"),
		}),
		"RepairStep": object(m{
			"id":    oneOf("", "wheels", "play", "other", "y-axis", "undo", "brackets", "profile", "shim", "beam", "pitch", "angles", "measure", "screws", "z-offset", "correct"),
			"title": text("the act"), "do": list(m{"type": "string"}, "how to do it"), "then": text("what has to come of it"),
			"amount": describe("thickness of a shim, gap that a profile rocks by, or how far the Z offset moves, mm", orNull(d)), "left": describe("largest nozzle error that is predicted after it", orNull(d)),
			"screws": list(all(m{"x": number("mm"), "y": number("mm"), "up": d, "turns": d, "eighths": m{"type": "integer", "description": "of a turn, below zero: the bed goes down; 0: leave it"}, "says": text("")}), "of the bed, in the order in which to turn them"),
		}, "id", "title", "do", "then", "amount", "left"),
		"ProofPrint": all(m{
			"plan": text("names the layout"), "size": number("mm"), "height": number("of the layer, mm"), "area": number("of a patch, mm2"),
			"patches":  list(all(m{"n": count("from 1"), "u": number("mm"), "v": number("mm"), "zero": boolean("stands at the zero place")}), ""),
			"cautions": list(m{"type": "string"}, ""), "in_force": oneOf("the correction that it is to be printed with", "none", "map", "file"), "file": text("the G-code"), "worksheet_a4": text("HTML"), "worksheet_letter": text("HTML"),
		}),
		"Proof": all(m{
			"verdict": oneOf("", "verified", "wrong", "agrees", "contradicts", "cannot-tell"), "sentence": text(""), "doubt": text(""), "next": text(""),
			"share": orNull(ref("Measured")), "scatter": orNull(ref("Measured")),
			"patches": list(all(m{
				"u": number("mm"), "v": number("mm"), "readings": count(""), "thickness": number("mean, mm"),
				"error": number("against the zero place, mm"), "u95": number("mm"), "predicted": orNull(number("gap error without a correction, mm")),
			}), ""),
			"gaps": list(xy, "patches that have gaps"), "missing": list(xy, "patches without a reading: nothing is verified with one"),
		}),
	}
}
