package description

func runPaths() m {
	stopAnswer := all(m{"requested": boolean("whether a stop request went out to the printer"), "text": text("what became of it")})
	start := verb{
		id: "startRun", summary: "Ask for a run.", about: "The steps run in the order repeat, gauging, survey, plate-turn, coupons, angles, reference, whatever the order asked. plate-turn needs survey in the same run, coupons and angles need gauging. The run waits until its cautions are confirmed; nothing moves before.",
		body: closed(object(m{"steps": with(list(m{"type": "string"}, "repeat, gauging, survey, plate-turn, coupons, angles, reference"), "minItems", 1),
			"attended": m{"type": "boolean", "default": false, "description": "someone stands at the machine and has confirmed the cautions: if the owner has set attended_starts the run begins at once, else it waits as ever"},
			"heat":     describe("Heat up before anything is measured; a part that is left out takes the owner's setting. The run then has one caution more, and switches the heaters off at its end.", closed(object(heatParts()))),
			"quick":    m{"type": "boolean", "default": false, "description": "a survey as small as that of the calendar's check"},
			"for":      text("an earlier run that has ended: this one gauges the zero point and then the places that the earlier run still asks for, and its records join the earlier run's once it has ended; steps are gauging, or repeat and gauging")}, "steps")),
		status: 201, says: "The run, waiting for its cautions.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	confirm := verb{
		id: "confirmRun", summary: "Give a person's word on the cautions; the run begins.",
		body: closed(object(m{
			"cautions": list(m{"type": "string"}, "ids of the cautions that the person has read and confirms"),
			"person":   text("who gives the word"),
			"gauge_mm": m{"type": "number", "minimum": 0.02, "maximum": 0.30, "default": 0.10, "description": "thickness of the feeler gauge"},
			"paper":    m{"type": "boolean", "default": false, "description": "a sheet of paper stands in for the feeler gauge: its thickness and its drag are less certain"},
		}, "cautions", "person")),
		status: 202, says: "The run has begun.", shape: ref("Run"), refusals: []int{404, 409, 503},
	}
	withdraw := verb{
		id: "withdraw", summary: "Give up a run that no one has confirmed.", about: "Nothing goes to the printer; the run is then stopped. A run that has begun ends by the stop request.",
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
		id: "gauge", summary: "Say what is felt at the feeler gauge.",
		about: "loose, drags or tight; the machine picks the step, and the answer comes when the move has ended. drags is a reading where the nozzle came from above; else it goes up, to come down again. " +
			"loose at the floor is refused (422 past-floor): the run goes on with a point half way, or ends. next is answered at once, and the move goes on. One act at a time is taken: 409 while another is carried out.",
		body:   closed(object(m{"action": oneOf("", "loose", "drags", "tight", "skip", "next", "forget")}, "action")),
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
		"/api/v1/stop": path("", "", m{"post": with(verb{
			id: "stop", summary: "Stop what goes on, at once.", free: true,
			about: "It is never queued behind a command, and reads no body. It belongs to what goes on now (Printer.going): where nothing of abbed's goes on, nothing is sent, and a run that waits for its confirmation is withdrawn. " +
				"A request that cannot be delivered is dropped. It is no emergency stop, and it may let Z sink.",
			status: 202, says: "What became of it.", shape: stopAnswer, refusals: []int{409, 503},
		}.operation(), "parameters", l{
			m{"name": "for", "in": "query", "required": false, "schema": m{"type": "string"}, "description": "what the asker saw going on; a stop of anything else is not sent"},
			m{"name": "anyway", "in": "query", "required": false, "schema": m{"type": "string", "enum": l{"yes"}}, "description": "send it though nothing of abbed's goes on: it may end a print that is not abbed's"},
		})}),
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
			"place":     orNull(ref("Place")),
			"error":     orNull(ref("Reason")),
			"cautions":  list(ref("Caution"), "to be confirmed before the run begins"),
			"sentence":  text("where the run stands, for people"),
			"unwatched": boolean("whether no one needs to be at the machine any more"),
			"touches":   count(""),
			"gaugings":  count("readings at the feeler gauge"),
			"number":    count("of the run's last event"),
			"heat":      describe("what the run heats; absent if nothing", all(heatParts())),
			"for":       text("the earlier run that this one gauges more for; absent for a run of its own"),
			"later":     list(m{"type": "string"}, "the runs that gauge more for this one, as far as they are kept, the earliest first; absent if there are none; what became of their readings says the analysis"),
			"forecast":  describe("what is ahead; absent where nothing can be predicted, and once the run is over", ref("Forecast")),
		}, "id", "state", "step", "steps", "began", "progress", "prompt", "place", "error", "sentence", "unwatched", "touches", "gaugings", "number"),
		"Forecast": forecastShape(),
		"Place": describe("The gauging place in hand, mm.", all(m{
			"index": count("from 0, the zero point"), "u": number(""), "v": number(""),
			"z":           number("where the nozzle is"),
			"predicted_z": number("where the nozzle is expected to touch the bed; the gauge drags higher by its thickness"),
			"floor_z":     number("the nozzle is never lowered below"),
			"next_step":   number("how far loose takes the nozzle down; 0 at the floor"),
			"records":     count("readings made here"), "wanted": count("readings planned here"), "of": count("points planned"),
			"gauge_mm": number("thickness of the feeler gauge"),
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
		"record_s": number("how long a reading at the feeler gauge takes"), "left_s": number("how long what is still to be done takes, all steps"),
		"repeat": orNull(all(m{"touches": count(""), "s": number("")})),
		"gauging": orNull(all(m{
			"records": count("made"), "left": count("planned"), "most": orNull(count("where the lean plan ends at the latest")), "s": number("of those planned"),
			"u95_now": u95("in the gauged area as it stands"), "u95_straight": u95("at the end, if the nozzle error is a plain slope"),
			"u95_bent": u95("at the end, if it bends"), "target": number("wanted, mm"),
		})),
		"survey": orNull(all(m{
			"columns": count(""), "rows": count(""), "repeats": count("touches at one place"), "base_every": count("rows between two returns to the base point"),
			"touches": count("all, the returns among them"), "s": number(""), "u95": u95("of the left-right profile against the zero point"),
			"target": number("wanted, mm"), "chosen": boolean("the planner chose what no one set"),
		})),
		"says": text("all of it in words"),
	})
}

// heatParts are the temperatures of a run, degrees C.
func heatParts() m {
	return m{"nozzle": number("degrees C; 0: not heated"), "bed": number("degrees C; 0: not heated")}
}
