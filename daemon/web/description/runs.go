package description

import "abbed/daemon/api"

func runPaths() m {
	start := verb{
		id: "startRun", summary: "Ask for a run.", about: "The steps run in the order repeat, gauging, survey, plate-turn, coupons, angles, reference, whatever the order asked. plate-turn needs survey in the same run, coupons and angles need gauging. The run waits until its cautions are confirmed; nothing moves before.",
		body:   request[api.NewRun](),
		status: 201, says: "The run, waiting for its cautions.", shape: shape[api.Run](), refusals: []int{404, 409, 503},
	}
	confirm := verb{
		id: "confirmRun", summary: "Give a person's word on the cautions; the run begins.",
		body:   request[api.Confirm](),
		status: 202, says: "The run has begun.", shape: shape[api.Run](), refusals: []int{404, 409, 503},
	}
	withdraw := verb{
		id: "withdraw", summary: "Give up a run that no one has confirmed.", about: "Nothing goes to the printer; the run is then stopped. A run that has begun ends by the stop request.",
		status: 200, says: "The run.", shape: shape[api.Run](), refusals: []int{404, 409},
	}.operation()
	for _, status := range []string{"400", "413", "422"} { // for a body that is not empty
		withdraw["responses"].(m)[status] = m{"$ref": "#/components/responses/Refused"}
	}
	reply := verb{
		id: "answerPrompt", summary: "Answer the prompt of a run.",
		about:  "Where the prompt has a value, a yes needs one within its bounds: the thickness of a printed patch or of a reference, an angle. 422 bad-value: the prompt stays.",
		body:   request[api.AnswerPrompt](),
		status: 202, says: "The answer was taken.", shape: shape[api.Run](), refusals: []int{404, 409, 503},
	}
	gauge := verb{
		id: "gauge", summary: "Say what is felt at the feeler gauge.",
		about: "loose, drags or tight; the machine picks the step, and the answer comes when the move has ended. drags is a reading where the nozzle came from above; else it goes up, to come down again. " +
			"loose at the floor is refused (422 past-floor): the run goes on with a point half way, or ends. next is answered at once, and the move goes on. One act at a time is taken: 409 while another is carried out.",
		body:   request[api.GaugeAction](),
		status: 200, says: "The run, after the move.", shape: shape[api.Run](), refusals: []int{404, 409, 503},
	}
	return m{
		"/api/v1/runs": path("", "", m{
			"get":  verb{id: "runs", summary: "All runs, newest first.", free: true, status: 200, says: "The runs.", shape: shape[[]api.Run]()}.operation(),
			"post": start.operation(),
		}),
		"/api/v1/runs/{id}": path("id", runID, m{
			"get": verb{id: "run", summary: "The state of a run.", free: true, status: 200, says: "The run.", shape: shape[api.Run](), refusals: []int{404}}.operation(),
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
			status: 202, says: "What became of it.", shape: shape[api.StopAnswer](), refusals: []int{409, 503},
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
		status: 200, shape: shape[api.Run](),
	}.operation()
	op["parameters"] = l{m{"name": "Last-Event-ID", "in": "header", "schema": m{"type": "string"}, "description": "the id of the last event that was read"}}
	responses := op["responses"].(m)
	responses["200"] = m{"description": "The events; the shape is that of the data of each.", "content": m{"text/event-stream": m{"schema": shape[api.Run]()}}}
	responses["204"] = m{"description": "The run is over, and its last state was read."}
	return op
}
