package description

import (
	"maps"
	"slices"
	"strconv"
)

// ref points to a shape.
func ref(name string) m { return m{"$ref": "#/components/schemas/" + name} }

// object is an object whose members may be there, and those named must.
func object(members m, required ...string) m {
	slices.Sort(required)
	o := m{"type": "object", "properties": members}
	if len(required) > 0 {
		o["required"] = required
	}
	return o
}

// all is an object whose members must all be there.
func all(members m) m { return object(members, slices.Collect(maps.Keys(members))...) }

// closed is an object of a request: another member is refused.
func closed(o m) m { return with(o, "additionalProperties", false) }

// open is an object that may hold more than is described here.
func open(o m) m { return with(o, "additionalProperties", true) }

// with returns o with one more entry.
func with(o m, key string, value any) m {
	o = maps.Clone(o)
	o[key] = value
	return o
}

func describe(what string, o m) m {
	if what == "" {
		return o
	}
	return with(o, "description", what)
}

func text(what string) m   { return describe(what, m{"type": "string"}) }
func number(what string) m { return describe(what, m{"type": "number"}) }
func count(what string) m  { return describe(what, m{"type": "integer", "minimum": 0}) }
func moment(what string) m { return describe(what, m{"type": "string", "format": "date-time"}) }

func list(of m, what string) m { return describe(what, m{"type": "array", "items": of}) }

// orNull is a shape, or null.
func orNull(of m) m { return m{"anyOf": l{of, m{"type": "null"}}} }

// oneOf is one of the words.
func oneOf(what string, words ...string) m {
	return describe(what, m{"type": "string", "enum": words})
}

// answer is a response in JSON.
func answer(what string, shape m) m {
	return m{"description": what, "content": m{"application/json": m{"schema": shape}}}
}

// verb is one method of one path.
type verb struct {
	id, summary, about string
	// body of the request, nil if it takes none.
	body m
	// status and shape of the answer.
	status int
	says   string
	shape  m
	// refusals are the statuses that this verb's own refusals have.
	refusals []int
	// free: no token is needed on loopback.
	free bool
}

// operation turns a verb into what OpenAPI calls an operation. Those refusals
// that every path shares are added: 401 (a wrong token is refused even where
// none is needed), 403, 421, 429 and 503 (crowded) by access, 500; 502 where the printer is
// asked (as 503 says); what is wrong with a body.
func (v verb) operation() m {
	statuses := append([]int{401, 403, 421, 429, 500, 503}, v.refusals...)
	if slices.Contains(v.refusals, 503) {
		statuses = append(statuses, 502)
	}
	if v.body != nil {
		statuses = append(statuses, 400, 413, 415, 422)
	}
	responses := m{strconv.Itoa(v.status): answer(v.says, v.shape)}
	for _, s := range statuses {
		responses[strconv.Itoa(s)] = m{"$ref": "#/components/responses/Refused"}
	}
	op := m{"operationId": v.id, "summary": v.summary, "responses": responses}
	if v.about != "" {
		op["description"] = v.about
	}
	if v.body != nil {
		op["requestBody"] = m{"required": true, "content": m{"application/json": m{"schema": v.body}}}
	}
	if v.free {
		op["security"] = l{}
	} else {
		op["security"] = l{m{"operator": l{}}, m{"session": l{}}}
	}
	return op
}

// path is a path with the parameter in it, if any, and its methods.
func path(param, what string, methods m) m {
	if param != "" {
		methods["parameters"] = l{m{"name": param, "in": "path", "required": true, "description": what, "schema": m{"type": "string"}}}
	}
	return methods
}

const (
	runID   = "the run's id"
	digests = "the table's digest"
)
