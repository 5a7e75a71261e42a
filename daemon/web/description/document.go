package description

import (
	"encoding/json"
	"maps"
	"slices"
	"sync"

	"abbed/daemon/api"
)

// m is a JSON object, l a JSON list.
type (
	m = map[string]any
	l = []any
)

// JSON returns the document.
var JSON = sync.OnceValue(func() []byte {
	b, err := json.MarshalIndent(document(), "", " ")
	if err != nil {
		panic(err) // the document holds only maps, lists, strings and numbers
	}
	return b
})

const about = `Measure the angle x lever error of a bed probe, and correct it.

Lengths are mm, times seconds, temperatures degrees C, angles degrees, moments RFC 3339. u and v are places of the bed: X to the right, Y to the back, Z up. A measured value carries its standard uncertainty u, its 95 % interval lo95..hi95, its unit and its degrees of freedom (null if infinite).

Reading needs nothing on loopback; every change needs the operator's token as a bearer, or a browser's session. Stop needs neither on loopback. Token, size and JSON are checked before anything else.

Every refusal is {"error":{"code","text","hint"}}: text says the act and the cause, hint what to do.`

func document() m {
	paths := m{}
	for _, group := range []m{printerPaths(), runPaths(), resultPaths(), lookPaths(), benchPaths(), appliedPaths(), servicePaths()} {
		maps.Copy(paths, group)
	}
	schemas := m{}
	for _, group := range []m{commonShapes(), printerShapes(), runShapes(), recordShapes(), resultShapes(), lookShapes(), benchShapes(), tableShapes()} {
		maps.Copy(schemas, group)
	}
	return m{
		"openapi": "3.1.0",
		"info":    m{"title": "abbed", "version": "1.0.0", "description": about, "license": m{"name": "Apache-2.0", "identifier": "Apache-2.0"}},
		"servers": l{m{"url": "/"}},
		"paths":   paths,
		"components": m{
			"schemas":   schemas,
			"responses": m{"Refused": answer("A refusal: what was wrong, why, and what to do.", ref("Refusal"))},
			"securitySchemes": m{
				"operator": m{"type": "http", "scheme": "bearer", "description": "the token in STATE/token"},
				"session":  m{"type": "apiKey", "in": "cookie", "name": "abbed_session_x", "description": "a browser's session, from a one-time link; x is eight letters, others for each printer"},
			},
		},
	}
}

// commonShapes are the shapes that many paths use.
func commonShapes() m {
	var codes l
	for _, code := range slices.Sorted(maps.Keys(api.Codes)) {
		codes = append(codes, m{"const": code, "description": api.Codes[code]})
	}
	reason := m{
		"code": text("for programs to branch on"),
		"text": text("the act and the cause"),
		"hint": text("what to do"),
	}
	refused := maps.Clone(reason)
	refused["code"] = m{"type": "string", "oneOf": codes}
	refused["missing"] = list(m{"type": "string"}, "what was missing: the cautions that were not confirmed")
	return m{
		"Refusal": object(m{"error": object(refused, "code", "text", "hint")}, "error"),
		"Reason": describe("Why something failed or is not offered.",
			object(with(reason, "missing", list(m{"type": "string"}, "what was missing")), "code", "text", "hint")),
		"Measured": describe("A value with its doubt.", all(m{
			"value": number(""), "u": number("standard uncertainty"),
			"lo95": number("lower end of the 95 % interval"), "hi95": number("upper end"),
			"unit": text(""), "dof": orNull(number("degrees of freedom; null if infinite")),
		})),
		"Caution":  all(m{"id": text("what to send back"), "text": text("what to read")}),
		"Progress": all(m{"done": count(""), "of": count("0 if it cannot be told"), "eta_s": orNull(number("time left in this step, s"))}),
	}
}
