package description

import "abbed/daemon/api"

// benchPaths are what is done beside the machine.
func benchPaths() m {
	in := func(name, what, kind string) m {
		return m{"name": name, "in": "query", "required": false, "description": what, "schema": m{"type": kind}}
	}
	repair := verb{id: "repair", summary: "What a person can do with tools: shim, rails, screws of the bed, what to look for by hand.", free: true,
		about: "One step at a time, in the order in which to do them, each with what to measure after it. An act stands there only where it is known to help.", status: 200, says: "The repair desk.", shape: shape[api.Repair](), refusals: []int{404, 409, 422}}.operation()
	repair["parameters"] = l{
		in("mounting", "length between the brackets of the beam, mm; without it no shim has a thickness", "number"), in("spacing", "of a bracket's fasteners across the beam, mm; 20", "number"),
		in("width", "of the profile, mm; 20", "number"), in("height", "other side of its section, mm; as wide", "number"), in("rails", "distance of two rails, mm; 0: one beam", "number"),
		in("supports", "x,y of the bed's supports, mm, with blanks between them; those of the settings", "string"), in("pitch", "by how much a turn of their screws moves the bed, mm; that of the settings", "number"),
	}
	print := verb{id: "proofPrint", summary: "The file of a proof print, with its worksheet.", free: true,
		about:  "Single-layer patches by the owner's settings (proof.*), over what the run has gauged, or over the reach. Nothing is sent to the printer.",
		status: 200, says: "The file.", shape: shape[api.ProofPrint](), refusals: []int{404, 409, 422}}.operation()
	print["parameters"] = l{in("run", "the run; empty: none", "string"), in("in_force", "the correction that it is to be printed with: none (patches that would dig in are left out), map or file; empty: what is known", "string")}
	return m{
		"/api/v1/runs/{id}/repair": path("id", runID, m{"get": repair}),
		"/api/v1/proof-print":      m{"get": print},
		"/api/v1/runs/{id}/thickness": path("id", runID, m{"post": verb{
			id: "thickness", summary: "Micrometer readings of a proof print, and what they verify.",
			about:  "They are kept with the run. Without a correction in force they join its fit as direct readings of the gap; with one they show what it left.",
			body:   request[api.Thickness](),
			status: 200, says: "What they verify.", shape: shape[api.Proof](), refusals: []int{404, 409, 422},
		}.operation()}),
		"/api/v1/runs/{id}/readings": path("id", runID, m{"post": verb{
			id: "readings", summary: "What a person read from instruments of their own, after the run.",
			about:  "Printed patches, the tilt of the head, touches along a straight reference: kept with the run, and joined to its fit as far as they do not contradict it. Of each quantity, and of references, the latest list counts: give all readings of one at once.",
			body:   request[api.Readings](),
			status: 200, says: "What was kept, and what it tells.", shape: shape[api.ReadingsKept](), refusals: []int{404, 409, 422},
		}.operation()}),
	}
}
