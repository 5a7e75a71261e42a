package description

// benchPaths are what is done beside the machine.
func benchPaths() m {
	in := func(name, what, kind string) m {
		return m{"name": name, "in": "query", "required": false, "description": what, "schema": m{"type": kind}}
	}
	repair := verb{id: "repair", summary: "What a person can do with tools: shim, rails, screws of the bed, what to look for by hand.", free: true,
		about: "Each part is null with its why where the run does not tell it.", status: 200, says: "The repair desk.", shape: ref("Repair"), refusals: []int{404, 409, 422}}.operation()
	repair["parameters"] = l{
		in("mounting", "length between the brackets of the beam, mm; 0: the gauged width", "number"), in("spacing", "of a bracket's fasteners across the beam, mm; 20", "number"),
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
			id: "thickness", summary: "Micrometer readings of a proof print, and what they verify.",
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
			"twist":    orNull(ref("Twist")), "twist_why": text("why there is none"), "tram": orNull(ref("Tram")), "tram_why": text("why there is none"),
			"advice": list(all(m{"title": text(""), "steps": list(m{"type": "string"}, "")}), "what to look for by hand"),
		}),
		"Twist": all(m{
			"from": number("along X, mm"), "to": number("mm"), "roll": d, "high_at_right": oneOf("the side that is too high at the right end", "back", "front", "neither"),
			"mounting": number("mm"), "rocking": d, "blade_in": number("goes under the free corner, mm; 0: none"), "blade_out": number("does not, mm; 0: none"),
			"allowed_deg": number("ANSI H35.2, over the mounting length"), "twist_deg": d, "shim": d, "under_at_right": text("the side to shim"),
			"rail": orNull(d), "rail_side": text("the rail to raise at its right end"), "costs": d, "after": d, "says": text("for people"),
		}),
		"Tram": all(m{
			"slope_x": d, "slope_y": d, "drift": orNull(d), "off_plane": number("standard deviation of the nozzle's contacts about the plane, mm"),
			"pitch": number("mm"), "says": text("for people"),
			"supports": list(all(m{"x": number(""), "y": number(""), "up": d, "turns": d, "sure": boolean("more than its doubt"), "follows": boolean("three carry the plane; this one follows"), "says": text("")}), ""),
		}),
		"ProofPrint": all(m{
			"plan": text("names the layout"), "size": number("mm"), "height": number("of the layer, mm"), "area": number("of a patch, mm2"),
			"patches":  list(all(m{"n": count("from 1"), "u": number("mm"), "v": number("mm"), "zero": boolean("stands at the zero point")}), ""),
			"cautions": list(m{"type": "string"}, ""), "in_force": oneOf("the correction that it is to be printed with", "none", "map", "file"), "file": text("the G-code"), "worksheet_a4": text("HTML"), "worksheet_letter": text("HTML"),
		}),
		"Proof": all(m{
			"verdict": oneOf("", "verified", "wrong", "agrees", "contradicts", "cannot-tell"), "sentence": text(""), "doubt": text(""), "next": text(""),
			"share": orNull(ref("Measured")), "scatter": orNull(ref("Measured")),
			"patches": list(all(m{
				"u": number("mm"), "v": number("mm"), "readings": count(""), "thickness": number("mean, mm"),
				"error": number("against the zero point, mm"), "u95": number("mm"), "predicted": orNull(number("nozzle error without a correction, mm")),
			}), ""),
			"gaps": list(xy, "patches that have gaps"), "missing": list(xy, "patches without a reading: nothing is verified with one"),
		}),
	}
}
