package description

func appliedPaths() m {
	took := func(id, summary, about string, body m) m {
		v := verb{id: id, summary: summary, about: about, body: body, status: 202, says: "It has begun.", shape: ref("Applied"), refusals: []int{404, 409, 503}}
		return v.operation()
	}
	sign := verb{
		id: "signOff", summary: "Give a person's word on the cautions of one exact table.",
		body:   closed(all(m{"cautions": list(m{"type": "string"}, ""), "person": text("")})),
		status: 200, says: "A token for this digest only, for one use.", shape: all(m{"token": text(""), "expires": moment("")}), refusals: []int{404, 409, 503},
	}
	undo := took("undo", "Put back the map that stood there before.", "Kept, if the apply was kept.", nil)
	reapply := took("reapply", "Put the signed-off correction onto a newly measured map.",
		"Refused unless the new map lies within the limits of a correction from the old one, the correction has not expired, and no one else uses the printer.", nil)
	prove := verb{
		id: "prove", summary: "Open a run that gauges the nozzle with the correction in force.",
		about:  "At the node where the correction lowers the nozzle most. It waits for a person's confirmation, like every run.",
		status: 201, says: "The run.", shape: ref("Run"), refusals: []int{409, 503},
	}.operation()
	for _, v := range []m{undo, reapply, prove} {
		for _, status := range []string{"400", "413", "422"} { // for a body that is not empty
			v["responses"].(m)[status] = m{"$ref": "#/components/responses/Refused"}
		}
	}
	return m{
		"/api/v1/tables/{digest}/signoff": path("digest", digests, m{"post": sign.operation()}),
		"/api/v1/tables/{digest}/apply": path("digest", digests, m{"post": took("apply", "Write a table that was approved.",
			"Writes, reads back, compares, keeps; on any difference the old map is put back.", closed(all(m{"token": text("")})))}),
		"/api/v1/applied": path("", "", m{"get": verb{
			id: "applied", summary: "What stands in the printer.", free: true, status: 200, says: "What stands.", shape: ref("Applied"),
		}.operation()}),
		"/api/v1/applied/undo":    path("", "", m{"post": undo}),
		"/api/v1/applied/reapply": path("", "", m{"post": reapply}),
		"/api/v1/applied/prove":   path("", "", m{"post": prove}),
		"/api/v1/applied/resolve": path("", "", m{"post": took("resolve", "Decide what becomes of an apply or undo that was cut off, and have put back what is owed.",
			"take-back also writes the old map back where a write failed half way. Where nothing is half written but a run could not put back what it switched off (printer's owed), either choice homes the machine and puts that back.",
			closed(all(m{"choice": oneOf("", "finish", "take-back")})))}),
	}
}

func tableShapes() m {
	node := all(m{
		"i": count("along X"), "j": count("along Y"), "u": number(""), "v": number(""),
		"before": number("the stored map"), "add": number("the correction"), "u95": number("its 95 % half width"),
	})
	return m{
		"Table": all(m{
			"digest": orNull(text("what a approval is bound to; null if refused")), "run": text(""),
			"nodes": list(node, "mm"), "cautions": list(ref("Caution"), "to be confirmed at approval"),
			"refused": orNull(ref("Reason")),
			"printer": text("fingerprint of the printer that it was made for"), "parent": text("digest of the table that it stands on; empty: none"),
			"lever": orNull(all(m{"x": number("mm"), "y": number("mm")})),
			"area":  orNull(describe("the map's first and last column and row, mm", all(m{"x0": number(""), "y0": number(""), "x1": number(""), "y1": number("")}))),
			"made":  orNull(moment("when the run began")),
			"limits": orNull(describe("the owner's limits under which it was offered", all(m{
				"largest": number("mm"), "steepest": number("mm per 100 mm"), "doubt_share": number("of the largest correction"),
			}))),
			"largest": number("addition, mm"), "steepest": number("slope between neighbours, mm per 100 mm"), "largest_u95": number("mm"),
			"keeps": orNull(describe("what keeping stores beside the map", all(m{
				"now": text("the printer's settings as the run read them"), "at_restart": orNull(text("as printed after the last restart that was seen")),
				"at": orNull(moment("")), "changed": list(m{"type": "string"}, "lines that only one has: - before, + now"),
			}))),
		}),
		"Applied": object(m{
			"state":  oneOf("", "none", "writing", "verifying", "kept", "put-back", "undone", "failed", "unfinished"),
			"digest": orNull(text("")), "proved": boolean("gauged with the correction in force"), "expired": orNull(text("why it no longer holds")), "half": boolean("a write failed half way: take-back writes the old map back; absent if not"),
			"measure_again": boolean("it no longer holds for what no re-apply mends; absent if not"),
			"sentence":      text(""), "error": orNull(ref("Reason")), "progress": ref("Progress"),
			"since": orNull(moment("")), "person": text("who signed it off"), "run": text("where it came from"),
		}, "state", "digest", "proved", "expired", "sentence", "error", "progress", "since"),
	}
}
