package description

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"abbed/daemon/api"
)

// verbPaths are the paths of the API, from its table of verbs.
func verbPaths() m {
	paths := m{}
	for _, v := range api.VerbTable() {
		path, known := paths[v.Path].(m)
		if !known {
			path = m{}
			var in l
			for _, name := range v.Params {
				in = append(in, m{"name": name, "in": "path", "required": true, "description": params[name], "schema": text("")})
			}
			if in != nil {
				path["parameters"] = in
			}
			paths[v.Path] = path
		}
		path[strings.ToLower(v.Method)] = described(v)
	}
	op := paths["/api/v1/runs/{id}/events"].(m)["get"].(m)
	op["parameters"] = l{m{"name": "Last-Event-ID", "in": "header", "schema": text(""), "description": "the id of the last event that was read"}}
	op["responses"].(m)["200"] = as("The events; the shape is that of the data of each.", "text/event-stream", shape[api.Run]())
	op["responses"].(m)["204"] = m{"description": "The run is over, and its last state was read."}
	return paths
}

// params says what the names in paths are.
var params = map[string]string{"id": "the run's id", "digest": "the table's digest", "earlier": "the id of the earlier run"}

// described is the operation of a verb, by its types.
func described(v api.Verb) m {
	shape := doc.of(v.Out)
	switch {
	case v.Query:
		op := operation(v, nil, shape)
		op["parameters"] = query(v.In)
		return op
	case v.In != nil:
		return operation(v, doc.body(v.In), shape)
	case v.Method != "GET":
		v.Refusals = append(slices.Clone(v.Refusals), 400, 413, 422) // for a body that is not empty
	}
	return operation(v, nil, shape)
}

// query lists what a question has in the query of its address.
func query(t reflect.Type) (out l) {
	for i := range t.NumField() {
		f := t.Field(i)
		of := text("")
		switch most, err := strconv.ParseFloat(f.Tag.Get("maxItems"), 64); {
		case err == nil:
			of = m{"type": "array", "items": of, "maxItems": most}
		case f.Type.Kind() == reflect.Float64:
			of = number("")
		case f.Type.Kind() == reflect.Bool:
			of["enum"] = l{"yes"}
		}
		out = append(out, m{"name": f.Tag.Get("query"), "in": "query", "required": false, "description": f.Tag.Get("about"), "schema": of})
	}
	return out
}

// operation turns a verb into what OpenAPI calls an operation; body is nil if it takes
// none. Those refusals that every path shares are added: 401 (a wrong token is refused even
// where none is needed), 403, 421, 429 and 503 (crowded) by access, 500; 502 where the
// printer is asked (as 503 says); what is wrong with a body.
func operation(v api.Verb, body, shape m) m {
	statuses := append([]int{401, 403, 421, 429, 500, 503}, v.Refusals...)
	if slices.Contains(v.Refusals, 503) {
		statuses = append(statuses, 502)
	}
	op := m{"operationId": v.ID, "summary": v.Summary, "security": l{m{"operator": l{}}, m{"session": l{}}}}
	if v.Free {
		op["security"] = l{}
	}
	if v.About != "" {
		op["description"] = v.About
	}
	if body != nil {
		statuses = append(statuses, 400, 413, 415, 422)
		op["requestBody"] = m{"required": true, "content": m{"application/json": m{"schema": body}}}
	}
	responses := m{strconv.Itoa(v.Status): answer(v.Says, shape)}
	for _, s := range statuses {
		responses[strconv.Itoa(s)] = m{"$ref": "#/components/responses/Refused"}
	}
	op["responses"] = responses
	return op
}
