package description

func runPaths() m {
	stopAnswer := all(m{"requested": boolean("whether it went out to the printer; false: nothing of this program goes on there, and the request was dropped"), "text": text("what a stop request is, and is not; or why nothing was sent")})
	start := verb{
		id: "startRun", summary: "Ask for a run.", about: "The steps run in the order repeat, gauging, survey, plate-turn, coupons, angles, reference, whatever the order asked. plate-turn needs survey in the same run, coupons and angles need gauging. The run waits until its cautions are confirmed; nothing moves before.",
		body: closed(object(m{"steps": with(list(m{"type": "string"}, "repeat, gauging, survey, plate-turn, coupons, angles, reference"), "minItems", 1),
			"attended": m{"type": "boolean", "default": false, "description": "somebody stands at the machine and has confirmed the cautions: if the owner has set attended_starts the run begins at once, else it waits as ever"},
			"heat":     describe("Heat up before anything is measured; a part that is left out takes the owner's setting. The run then has one caution more, and switches the heaters off at its end.", closed(object(heatParts()))),
			"quick":    m{"type": "boolean", "default": false, "description": "a survey as small as that of the calendar's check"},
			"for":      text("an earlier run that has ended: this one gauges the zero place and then the places that the earlier run still asks for, and its records join the earlier run's once it has ended; steps are gauging, or repeat and gauging")}, "steps")),
		status: 201, says: "The run, waiting for its cautions.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	confirm := verb{
		id: "confirmRun", summary: "Give a person's word on the cautions; the run begins.",
		body: closed(object(m{
			"cautions": list(m{"type": "string"}, "ids of the cautions that the person has read and confirms"),
			"person":   text("who gives the word"),
			"gauge_mm": m{"type": "number", "minimum": 0.02, "maximum": 0.30, "default": 0.10, "description": "thickness of the blade"},
			"paper":    m{"type": "boolean", "default": false, "description": "a sheet of paper stands in for the blade: its thickness and its drag are less certain"},
		}, "cautions", "person")),
		status: 202, says: "The run has begun.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	withdraw := verb{
		id: "withdraw", summary: "Give up a run that nobody has confirmed.", about: "Nothing goes to the printer; the run is then stopped. A run that has begun ends by the stop request.",
		status: 200, says: "The run.", shape: ref("Run"), refusals: []int{404, 409},
	}.operation()
	for _, status := range []string{"400", "413", "422"} { // for a body that is not empty
		withdraw["responses"].(m)[status] = m{"$ref": "#/components/responses/Refused"}
	}
	reply := verb{
		id: "answerPrompt", summary: "Answer the prompt of a run.",
		about: "Where the prompt has a value, a yes needs one within its bounds: the thickness of a printed patch or of a reference, an angle. 422 bad-value: the prompt stays.",
		body: closed(object(m{
			"prompt": text("id of the prompt"), "answer": oneOf("", "yes", "no"), "value": number("where the prompt asks for one"),
		}, "prompt", "answer")),
		status: 202, says: "The answer was taken.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	gauge := verb{
		id: "gauge", summary: "Do one action at the blade.", about: "Answers when the move has ended. lower and raise need mm; record takes gauge_mm, which must be the confirmed one. Lowering past the floor, or by more than max_step, is refused.",
		body: closed(object(m{
			"action":   oneOf("", "lower", "raise", "record", "skip", "next", "forget"),
			"mm":       m{"type": "number", "exclusiveMinimum": 0},
			"gauge_mm": number("thickness of the blade"),
		}, "action")),
		status: 200, says: "The run, after the move.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	return m{
		"/api/v1/runs": path("", "", m{
			"get":  verb{id: "runs", summary: "All runs, newest first.", free: true, status: 200, says: "The runs.", shape: list(ref("Run"), "")}.operation(),
			"post": start.operation(),
		}),
		"/api/v1/runs/{id}": path("id", runID, m{
			"get": verb{id: "run", summary: "The state of a run.", free: true, status: 200, says: "The run.", shape: ref("Run"), refusals: []int{404}}.operation(),
		}),
		"/api/v1/runs/{id}/events":   path("id", runID, m{"get": eventStream()}),
		"/api/v1/runs/{id}/confirm":  path("id", runID, m{"post": confirm.operation()}),
		"/api/v1/runs/{id}/withdraw": path("id", runID, m{"post": withdraw}),
		"/api/v1/runs/{id}/answer":   path("id", runID, m{"post": reply.operation()}),
		"/api/v1/runs/{id}/gauge":    path("id", runID, m{"post": gauge.operation()}),
		"/api/v1/stop": path("", "", m{"post": verb{
			id: "stop", summary: "Ask for a stop at once.", free: true,
			about:  "It is never queued behind a command, and reads no body. It is no emergency stop, and it may let Z sink. Without a link to the printer it is an error only if a run, a write or heat of this program goes on that it could not reach.",
			status: 202, says: "The request is on its way, or there was nothing to stop.", shape: stopAnswer, refusals: []int{409, 503},
		}.operation()}),
	}
}

// eventStream is the one answer that is not JSON as a whole.
func eventStream() m {
	op := verb{
		id: "runEvents", summary: "A run as server-sent events.", free: true, refusals: []int{404},
		about:  "The data of each event is the JSON of the run, its id the number of the run's last event; Last-Event-ID resumes. The stream ends when the run is over; 204 to whoever comes back then.",
		status: 200, shape: ref("Run"),
	}.operation()
	op["parameters"] = l{m{"name": "Last-Event-ID", "in": "header", "schema": m{"type": "string"}, "description": "the id of the last event that was read"}}
	responses := op["responses"].(m)
	responses["200"] = m{"description": "The events; the shape is that of the data of each.", "content": m{"text/event-stream": m{"schema": ref("Run")}}}
	responses["204"] = m{"description": "The run is over, and its last state was read."}
	return op
}

func runShapes() m {
	return m{
		"Run": object(m{
			"id": text("sorts by time"),
			"state": oneOf("awaiting-person: a prompt; awaiting-gauge: a place; awaiting-next: recorded or skipped, Z is up",
				"awaiting-confirmation", "running", "awaiting-person", "awaiting-gauge", "awaiting-next", "done", "stopped", "failed"),
			"step":     oneOf("", "", "prepare", "repeat", "gauging", "survey", "plate-turn", "coupons", "angles", "reference", "prove", "analysis"),
			"steps":    list(m{"type": "string"}, "what was asked for"),
			"began":    moment(""),
			"progress": ref("Progress"),
			"prompt": orNull(all(m{"id": text(""), "text": text(""), "value": orNull(all(m{
				"unit": oneOf("", "mm", "deg"), "least": number(""), "most": number(""),
			}))})),
			"place":    orNull(ref("Place")),
			"error":    orNull(ref("Reason")),
			"cautions": list(ref("Caution"), "to be confirmed before the run begins"),
			"sentence": text("where the run stands, for people"),
			"touches":  count(""),
			"gaugings": count("records at the blade"),
			"number":   count("of the run's last event"),
			"heat":     describe("what the run heats; absent if nothing", all(heatParts())),
			"for":      text("the earlier run that this one gauges more for; absent for a run of its own"),
			"later":    list(m{"type": "string"}, "the runs that gauge more for this one, as far as they are kept, the earliest first; absent if there are none; what became of their gaugings says the analysis"),
			"forecast": describe("what is ahead; absent where nothing can be foretold, and once the run is over", ref("Forecast")),
		}, "id", "state", "step", "steps", "began", "progress", "prompt", "place", "error", "sentence", "touches", "gaugings", "number"),
		"Forecast": forecastShape(),
		"Place": describe("The gauging place in hand, mm.", all(m{
			"index": count("from 0, the zero place"), "u": number(""), "v": number(""),
			"z":           number("where the nozzle is"),
			"predicted_z": number("where the nozzle is expected to touch the bed; the blade drags one blade higher"),
			"floor_z":     number("the nozzle is never lowered below"),
			"max_step":    number("the largest lowering that is taken now"),
			"records":     count("made here"), "wanted": count("records planned here"), "of": count("places planned"),
			"gauge_mm": number("thickness of the blade"),
			"heights":  list(m{"type": "number"}, "bed contacts recorded here"),
			"ahead":    list(m{"type": "array", "items": m{"type": "number"}, "minItems": 2, "maxItems": 2}, "places still planned as [u, v], mm, in their order"),
		})),
	}
}

// forecastShape is what is ahead of a run.
func forecastShape() m {
	u95 := func(says string) m { return orNull(number("largest 95 % half width, mm: " + says)) }
	return all(m{
		"measured": boolean("scatter and time of a touch are this run's own; else they are what is usual"),
		"scatter":  number("standard deviation of one touch, mm"), "touch_s": number("how long a touch takes"),
		"record_s": number("how long a record at the blade takes"), "left_s": number("how long what is still to be done takes, all steps"),
		"repeat": orNull(all(m{"touches": count(""), "s": number("")})),
		"gauging": orNull(all(m{
			"records": count("made"), "left": count("planned"), "most": orNull(count("where the lean plan ends at the latest")), "s": number("of those planned"),
			"u95_now": u95("in the gauged area as it stands"), "u95_straight": u95("at the end, if the gap error is a plain slope"),
			"u95_bent": u95("at the end, if it bends"), "target": number("wanted, mm"),
		})),
		"survey": orNull(all(m{
			"columns": count(""), "rows": count(""), "repeats": count("touches at one place"), "base_every": count("rows between two returns to the base point"),
			"touches": count("all, the returns among them"), "s": number(""), "u95": u95("of the left-right profile against the zero place"),
			"target": number("wanted, mm"), "chosen": boolean("the planner chose what nobody set"),
		})),
		"says": text("all of it in words"),
	})
}

// heatParts are the temperatures of a run, degrees C.
func heatParts() m {
	return m{"nozzle": number("degrees C; 0: not heated"), "bed": number("degrees C; 0: not heated")}
}
