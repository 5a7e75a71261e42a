package description

import (
	"maps"
	"slices"
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
func answer(what string, shape m) m { return as(what, "application/json", shape) }

// as is a response of another type.
func as(what, kind string, shape m) m {
	return m{"description": what, "content": m{kind: m{"schema": shape}}}
}
