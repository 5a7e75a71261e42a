package description

func resultPaths() m {
	read := func(id, summary, shape string, free bool) m {
		return verb{id: id, summary: summary, free: free, status: 200, says: summary, shape: ref(shape), refusals: []int{404, 409}}.operation()
	}
	return m{
		"/api/v1/runs/{id}/record":   path("id", runID, m{"get": read("record", "Every touch and gauging, with the settings and the printer's identity.", "Record", true)}),
		"/api/v1/runs/{id}/analysis": path("id", runID, m{"get": read("analysis", "What the run tells.", "Analysis", true)}),
		"/api/v1/runs/{id}/table":    path("id", runID, m{"get": read("table", "The correction, or why there is none.", "Table", true)}),
		"/api/v1/runs/{id}/gap": path("id", runID, m{"post": verb{
			id: "gap", summary: "The predicted nozzle error at points.", free: true,
			about: "Against the zero point, with the 95 % half width; null with the reason outside the gauged area. This is reading.",
			body: closed(all(m{"points": with(list(m{
				"type": "array", "items": m{"type": "number"}, "minItems": 2, "maxItems": 2,
			}, "[u, v] pairs, mm"), "maxItems", 4000)})),
			status: 200, says: "One for each point, in their order.", shape: list(ref("Gap"), ""), refusals: []int{404, 409},
		}.operation()}),
	}
}

func resultShapes() m {
	measured := orNull(ref("Measured"))
	numbers := list(m{"type": "number"}, "")
	stability := object(m{
		"scatter": measured, "first_touch": measured, "drift_rate": measured, "drift_model": text(""),
		"play_x": measured, "play_y": measured, "wander": measured, "ride": orNull(ref("Ride")),
		"set_aside": list(all(m{
			"event": count(""), "u": number(""), "v": number(""), "off": number("mm"), "weight": number("0"),
		}), "stray touches of repeat test, passes and survey"),
		"steady": boolean("every gate passed"), "failed": text("the finding of the first gate that failed"),
	}, "scatter", "first_touch", "drift_rate", "play_x", "play_y", "wander", "ride", "set_aside", "steady")
	profile := all(m{
		"x": numbers, "effect": numbers, "u": numbers, "front": numbers, "back": numbers,
		"repeats": number("share of the map's shape that repeats from front to back"), "unit": text(""),
	})
	model := all(m{
		"terms":   list(all(m{"name": text("what makes it: an error motion"), "at": ref("Measured")}), "what each makes of the nozzle error where it makes most"),
		"scatter": measured, "lack_of_fit_f": orNull(number("")), "lack_of_fit_p": orNull(number("")),
		"outliers": list(all(m{
			"event": count(""), "u": number(""), "v": number(""), "off": number(""), "weight": number(""),
		}), "listed, not dropped"),
	})
	return m{
		"Analysis": object(m{
			"stability": stability, "profile": orNull(profile), "share": measured, "share_why": text("why there is no share"),
			"model": orNull(model), "level": measured, "largest_gap": measured,
			"findings": list(ref("Finding"), "the first weighs most"),
			"wedge":    describe("of a run without a survey", m{"allOf": l{ref("Wedge")}}),
			"tells": list(all(m{
				"what": text("names the quantity"), "says": text("the quantity in words"),
				"by":    list(m{"type": "string"}, "the steps that told it in this run; empty: it is not told"),
				"value": measured, "text": text("what is told, or why it is not"), "next": text("what would tell it"),
			}), "what can be told with which way of seeing"),
			"more_gauging": orNull(all(m{
				"u": number("where one more reading would help most, of the bed, mm"), "v": number("where one more reading would help most, of the bed, mm"),
				"again": boolean("it was gauged before"),
				"now":   orNull(number("largest 95 % half width in the gauged area, mm")), "after": orNull(number("the same with one more record there, mm")),
				"why":     text("what is still open"),
				"records": count("that a later run for this one takes until the place is gauged"), "time_s": number("about how long they take"),
			})),
			"later": list(all(m{
				"run": text("the later run"), "began": moment(""), "records": count("of its readings"), "aside": count("of them set aside by the later run itself"),
				"used": boolean("they are in the fit"), "contradicts": boolean("they were left out because they contradict the rest"), "lifted": boolean("runs after it, which would have shown what it shows, do not: it contradicts by a slip of its own"),
				"text": text("what became of them, in words"),
			}), "the readings of later runs that were made for this one (runs with for), the earliest first"),
		}, "stability", "profile", "share", "model", "level", "largest_gap", "findings"),
		"Ride": all(m{
			"touches": count("touches of the survey that were judged"), "off": count("of them off their neighbours"), "low": count("of those below"), "stray": count("of them alone and far off, set aside"),
			"suspect": boolean("touches do not fit with each other, and whether bed or carriage does it is not proven"),
			"wanders": orNull(ref("Period")), "stays": orNull(ref("Period")), "says": text("all of it in words"),
		}),
		"Period": all(m{
			"length": ref("Measured"), "depth": number("of the dips, mm"), "false_alarm": number("probability that chance alone gives it"),
			"rows": count("rows and passes that tell it"),
		}),
		"Finding": all(m{"id": text(""), "sentence": text(""), "evidence": text(""), "doubt": text(""), "next": text("what to do")}),
		"Gap": m{"oneOf": l{
			all(m{"gap": number("mm; + = the nozzle is too high"), "u95": number("95 % half width, mm")}),
			all(m{"gap": m{"type": "null"}, "reason": text("")}),
		}},
	}
}
