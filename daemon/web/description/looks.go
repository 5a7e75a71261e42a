package description

// lookPaths look over several runs, and at another lever; all of them are reading.
func lookPaths() m {
	query := func(name, what string, more bool) m {
		shape := m{"type": "string"}
		if more {
			shape = m{"type": "array", "items": shape, "maxItems": 50}
		}
		return m{"name": name, "in": "query", "required": false, "description": what, "schema": shape}
	}
	since := path("id", runID, m{"get": verb{
		id: "since", summary: "What changed since an earlier run.", free: true,
		about:  "Twist or pitch, scatter, play, level, the nozzle error at places of both, the findings, and how warm both were: each with its doubt, and what cannot be compared with the reason. The 95 % half width of a difference has the degrees of freedom of Welch and Satterthwaite. Runs of two printers are refused: 409 not-comparable.",
		status: 200, says: "What changed.", shape: ref("Comparison"), refusals: []int{404, 409},
	}.operation()})
	since["parameters"] = append(since["parameters"].(l), m{"name": "earlier", "in": "path", "required": true, "description": "the id of the earlier run", "schema": m{"type": "string"}})
	levers := with(verb{
		id: "levers", summary: "The nozzle error that this machine would have with the probe mounted elsewhere.", free: true,
		about:  "Only what the run's own lever can tell: the line from the nozzle through it. Everything else is refused, with what to measure.",
		status: 200, says: "One for each lever, in their order.", shape: ref("Levers"), refusals: []int{404, 409, 422},
	}.operation(), "parameters", l{query("lever", "x,y from nozzle to probe, mm; once for each lever", true), query("within", "x0,y0,x1,y1: where the probe could be mounted, mm from the nozzle; the best place in it is looked for", false)})
	return m{
		"/api/v1/history": path("", "", m{"get": verb{
			id: "history", summary: "What the runs of this printer tell of its head, the oldest first.", free: true,
			about:  "Each run is compared with the one before it that tells the same angle. The latest fifty runs that were done; a proof is none.",
			status: 200, says: "The history.", shape: ref("History"),
		}.operation()}),
		"/api/v1/runs/{id}/since/{earlier}": since,
		"/api/v1/runs/{id}/levers":          path("id", runID, m{"get": levers}),
	}
}

func lookShapes() m {
	measured := orNull(ref("Measured"))
	words := func(what string) m { return list(m{"type": "string"}, what) }
	gap := all(m{"u": number(""), "v": number(""), "gap": number("mm; + = the nozzle is too high"), "u95": number("95 % half width, mm")})
	place := all(m{
		"u": number(""), "v": number(""), "before": number("gap error, mm"), "u95_before": number(""), "after": number(""), "u95_after": number(""),
		"by": number("after less before, mm"), "u95": number("95 % half width of by, for this place alone"), "beyond": boolean("beyond the doubt of all places together (Scheffe)"),
	})
	heat := describe("Means of what was heard at the gauging, degrees C and K.", all(m{
		"nozzle_before": number(""), "nozzle_after": number(""), "bed_before": number(""), "bed_after": number(""),
		"nozzle_by": number("K"), "bed_by": number("K"), "apart": boolean("10 K or more: cold against hot"), "text": text("with what expansion alone would make"),
	}))
	xy := all(m{"x": number(""), "y": number("")})
	lever := all(m{"lever": xy, "largest": orNull(gap), "refused": orNull(ref("Reason")), "covers": orNull(all(m{"x0": number("mm"), "y0": number("mm"), "x1": number("mm"), "y1": number("mm")})), "note": text("that no probe can be mounted there, or which part of the bed is told; empty for neither")})
	return m{
		"Change": all(m{
			"what": text("names the quantity: twist, pitch, scatter, play-x, play-y, level"), "says": text(""), "before": ref("Measured"), "after": ref("Measured"),
			"by":    describe("after less before; for a ratio after over before", m{"allOf": l{ref("Measured")}}),
			"ratio": boolean("of two standard deviations: no change is 1"), "beyond": boolean("the 95 % interval of by leaves out no change"), "sentence": text(""),
		}),
		"Comparison": all(m{
			"before": text("id of the earlier run"), "after": text("id of the later run"), "sentence": text("what matters first"),
			"changes": list(ref("Change"), ""), "not": words("what cannot be compared, and why"),
			"places": list(place, "where the nozzle error changed beyond the doubt of all places together; the others are left out"), "most": orNull(place),
			"largest_before": orNull(gap), "largest_after": orNull(gap),
			"left_before": orNull(gap), "left_after": orNull(gap),
			"gone": words("findings of the earlier run alone"), "stay": words("of both"), "come": words("of the later run alone"),
			"heat": orNull(heat),
		}),
		"Entry": object(m{
			"run": text(""), "began": moment(""), "lever": xy, "twist": measured, "pitch": measured, "scatter": measured, "level": measured, "largest_gap": measured,
			"nozzle": orNull(number("degrees C")), "bed": orNull(number("degrees C")), "finding": text("that weighed most"),
			"against": orNull(text("the run before it that tells the same angle")), "change": orNull(ref("Change")), "why": text("why there is no change"),
			"later": list(m{"type": "string"}, "the runs that gauged more for this one, as far as they are kept, the earliest first; absent if there are none"),
		}, "run", "began", "lever", "twist", "pitch", "scatter", "level", "largest_gap", "nozzle", "bed", "finding", "against", "change"),
		"History": all(m{"printer": text("fingerprint"), "runs": list(ref("Entry"), "the oldest first"), "sentence": text("")}),
		"Levers": all(m{
			"now": lever, "levers": list(lever, ""), "best": orNull(lever),
			"longest": orNull(number("longest lever on the line of the present one that keeps nozzle error and doubt within the tolerance, mm")),
			"least":   number("the shortest lever at which a probe can be mounted beside the nozzle, mm; nearer ones are not looked at for the best; 0 for a nozzle that senses its own load"), "sentence": text(""),
		}),
		"Wedge": describe("The five-minute answer.", all(m{
			"from": number("x, mm"), "to": number("x, mm"), "row": number("y, mm"), "by": ref("Measured"),
			"worth": oneOf("whether the whole job is worth it", "yes", "no", "cannot-tell"), "sentence": text(""), "next": text(""),
		})),
	}
}
