package description

import "abbed/daemon/api"

func appliedPaths() m {
	took := func(id, summary, about string, body m) m {
		v := verb{id: id, summary: summary, about: about, body: body, status: 202, says: "It has begun.", shape: shape[api.Applied](), refusals: []int{404, 409, 503}}
		return v.operation()
	}
	sign := verb{
		id: "signOff", summary: "Give a person's word on the cautions of one exact table.",
		body:   request[api.SignOff](),
		status: 200, says: "A token for this digest only, for one use.", shape: shape[api.SignedOff](), refusals: []int{404, 409, 503},
	}
	undo := took("undo", "Put back the map that stood there before.", "Kept, if the apply was kept.", nil)
	reapply := took("reapply", "Put the signed-off correction onto a newly measured map.",
		"Refused unless the new map lies within the limits of a correction from the old one, the correction has not expired, and no one else uses the printer.", nil)
	prove := verb{
		id: "prove", summary: "Open a run that gauges the nozzle with the correction in force.",
		about:  "At the node where the correction lowers the nozzle most. It waits for a person's confirmation, like every run.",
		status: 201, says: "The run.", shape: shape[api.Run](), refusals: []int{409, 503},
	}.operation()
	for _, v := range []m{undo, reapply, prove} {
		for _, status := range []string{"400", "413", "422"} { // for a body that is not empty
			v["responses"].(m)[status] = m{"$ref": "#/components/responses/Refused"}
		}
	}
	return m{
		"/api/v1/tables/{digest}/signoff": path("digest", digests, m{"post": sign.operation()}),
		"/api/v1/tables/{digest}/apply": path("digest", digests, m{"post": took("apply", "Write a table that was approved.",
			"Writes, reads back, compares, keeps; on any difference the old map is put back.", request[api.Apply]())}),
		"/api/v1/applied": path("", "", m{"get": verb{
			id: "applied", summary: "What stands in the printer.", free: true, status: 200, says: "What stands.", shape: shape[api.Applied](),
		}.operation()}),
		"/api/v1/applied/undo":    path("", "", m{"post": undo}),
		"/api/v1/applied/reapply": path("", "", m{"post": reapply}),
		"/api/v1/applied/prove":   path("", "", m{"post": prove}),
		"/api/v1/applied/resolve": path("", "", m{"post": took("resolve", "Decide what becomes of an apply or undo that was cut off, and have put back what is owed.",
			"take-back also writes the old map back where a write failed half way. Where nothing is half written but a run could not put back what it switched off (printer's owed), either choice homes the machine and puts that back.",
			request[api.Resolve]())}),
	}
}
