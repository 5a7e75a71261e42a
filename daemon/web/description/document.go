package description

import (
	"encoding/json"
	"maps"
	"reflect"
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
	b, err := json.MarshalIndent(whole(), "", " ")
	if err != nil {
		panic(err) // the document holds only maps, lists, strings and numbers
	}
	return b
})

const about = `Measure the angle x lever error of a bed probe, and correct it.

Lengths are mm, times seconds, temperatures degrees C, angles degrees, moments RFC 3339. u and v are places of the bed: X to the right, Y to the back, Z up. A measured value carries its standard uncertainty u, its 95 % interval lo95..hi95, its unit and its degrees of freedom (null if infinite).

Reading needs nothing on loopback; every change needs the operator's token as a bearer, or a browser's session. Stop needs neither on loopback. Token, size and JSON are checked before anything else.

Every refusal is {"error":{"code","text","hint"}}: text says the act and the cause, hint what to do.`

func whole() m {
	paths := m{}
	for _, group := range []m{verbPaths(), servicePaths()} {
		maps.Copy(paths, group)
	}
	schemas := doc.shapes
	maps.Copy(schemas, recordShapes())
	schemas["Refusal"] = refusal()
	schemas["Gap"] = gap()
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

// refusal is what every refusal answers: a Reason, with what each code means.
func refusal() m {
	var codes l
	for _, code := range slices.Sorted(maps.Keys(api.Codes)) {
		codes = append(codes, m{"const": code, "description": api.Codes[code]})
	}
	r := doc.object(reflect.TypeFor[api.Error]())
	r["properties"].(m)["code"] = m{"type": "string", "oneOf": codes}
	return object(m{"error": r}, "error")
}

// gap is a gap error, or why there is none.
func gap() m {
	of := doc.object(reflect.TypeFor[api.Gap]())["properties"].(m)
	return m{"oneOf": l{
		all(m{"gap": m{"type": "number", "description": "mm; + = the nozzle is too high"}, "u95": of["u95"]}),
		all(m{"gap": m{"type": "null"}, "reason": of["reason"]}),
	}}
}
