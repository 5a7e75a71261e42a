package description

import "abbed/daemon/api"

func resultPaths() m {
	read := func(id, summary string, shape m) m {
		return verb{id: id, summary: summary, free: true, status: 200, says: summary, shape: shape, refusals: []int{404, 409}}.operation()
	}
	return m{
		"/api/v1/runs/{id}/record":   path("id", runID, m{"get": read("record", "Every touch and gauging, with the settings and the printer's identity.", ref("Record"))}),
		"/api/v1/runs/{id}/analysis": path("id", runID, m{"get": read("analysis", "What the run tells.", shape[api.Analysis]())}),
		"/api/v1/runs/{id}/table":    path("id", runID, m{"get": read("table", "The correction, or why there is none.", shape[api.Table]())}),
		"/api/v1/runs/{id}/gap": path("id", runID, m{"post": verb{
			id: "gap", summary: "The predicted nozzle error at points.", free: true,
			about:  "Against the zero point, with the 95 % half width; null with the reason outside the gauged area. This is reading.",
			body:   request[api.AskGap](),
			status: 200, says: "One for each point, in their order.", shape: shape[[]api.Gap](), refusals: []int{404, 409},
		}.operation()}),
	}
}
