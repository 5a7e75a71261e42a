package description

import "abbed/daemon/api"

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
		status: 200, says: "What changed.", shape: shape[api.Comparison](), refusals: []int{404, 409},
	}.operation()})
	since["parameters"] = append(since["parameters"].(l), m{"name": "earlier", "in": "path", "required": true, "description": "the id of the earlier run", "schema": m{"type": "string"}})
	levers := with(verb{
		id: "levers", summary: "The nozzle error that this machine would have with the probe mounted elsewhere.", free: true,
		about:  "Only what the run's own lever can tell: the line from the nozzle through it. Everything else is refused, with what to measure.",
		status: 200, says: "One for each lever, in their order.", shape: shape[api.Levers](), refusals: []int{404, 409, 422},
	}.operation(), "parameters", l{query("lever", "x,y from nozzle to probe, mm; once for each lever", true), query("within", "x0,y0,x1,y1: where the probe could be mounted, mm from the nozzle; the best place in it is looked for", false)})
	return m{
		"/api/v1/history": path("", "", m{"get": verb{
			id: "history", summary: "What the runs of this printer tell of its head, the oldest first.", free: true,
			about:  "Each run is compared with the one before it that tells the same angle. The latest fifty runs that were done; a proof is none.",
			status: 200, says: "The history.", shape: shape[api.History](),
		}.operation()}),
		"/api/v1/runs/{id}/since/{earlier}": since,
		"/api/v1/runs/{id}/levers":          path("id", runID, m{"get": levers}),
	}
}
