package description

import (
	"encoding/json"
	"maps"
	"reflect"
	"strconv"
	"strings"
	"time"
)

// document is what is described while the paths are written: the shapes by their names.
type document struct{ shapes m }

var doc = &document{shapes: m{}}

// shape is the shape of an answer.
func shape[T any]() m { return doc.of(reflect.TypeFor[T]()) }

// names are those of the types that are called otherwise in the document.
var names = map[string]string{"Spot": "Place", "Problem": "Reason", "Travel": "Box"}

// abouts say what a shape as a whole is, where its name does not.
var abouts = map[string]string{
	"Measured": "A value with its doubt.", "Reason": "Why something failed or is not offered.",
	"Place": "The gauging place in hand, mm.", "Wedge": "The five-minute answer.",
}

// of is the shape of a Go type: fields by their JSON, each with what its tag about says of
// it. A type of package api is described once, among the components. A pointer may be
// null, what may be left out (omitempty) is not required.
func (d *document) of(t reflect.Type) m {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return m{"type": "string", "format": "date-time"}
	case t == reflect.TypeFor[json.RawMessage]():
		return ref("Record")
	}
	switch t.Kind() {
	case reflect.Pointer:
		return orNull(d.of(t.Elem()))
	case reflect.Slice:
		return m{"type": "array", "items": d.of(t.Elem())}
	case reflect.Array:
		return m{"type": "array", "items": d.of(t.Elem()), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Map:
		return m{"type": "object", "additionalProperties": d.of(t.Elem())}
	case reflect.Struct:
		if strings.Contains(t.Name(), "[") {
			return d.object(t) // of a generic type
		}
		name := t.Name()
		if other, ok := names[name]; ok {
			name = other
		}
		if _, known := d.shapes[name]; !known {
			d.shapes[name] = nil // it may hold itself
			d.shapes[name] = describe(abouts[name], d.object(t))
		}
		return ref(name)
	case reflect.Int, reflect.Int64:
		return m{"type": "integer", "minimum": 0}
	case reflect.Float64:
		return m{"type": "number"}
	case reflect.Bool:
		return m{"type": "boolean"}
	}
	return m{"type": "string"}
}

// object is a struct, field by field.
func (d *document) object(t reflect.Type) m {
	members, required := m{}, []string{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" {
			in := d.object(f.Type)
			maps.Copy(members, in["properties"].(m))
			required = append(required, in["required"].([]string)...)
		}
		if name == "" || name == "-" {
			continue
		}
		as := f.Type
		if options != "" && as.Kind() == reflect.Pointer {
			as = as.Elem()
		}
		if options == "" {
			required = append(required, name)
		}
		of := tagged(d.of(as), f.Tag)
		if f.Tag.Get("null") != "" {
			of = orNull(of)
		}
		members[name] = of
	}
	return object(members, required...)
}

// tagged is a shape with what the tags of its field say.
func tagged(shape m, tag reflect.StructTag) m {
	if words, ok := tag.Lookup("enum"); ok {
		in := innermost(shape)
		in["enum"] = strings.Split(words, ",")
	}
	for _, key := range []string{"minimum", "maximum", "default", "minItems", "maxItems"} {
		if n, err := strconv.ParseFloat(tag.Get(key), 64); err == nil {
			shape[key] = n
		}
	}
	return describe(tag.Get("about"), shape)
}

// innermost is the string in a shape.
func innermost(shape m) m {
	switch {
	case shape["items"] != nil:
		return innermost(shape["items"].(m))
	case shape["anyOf"] != nil:
		return innermost(shape["anyOf"].(l)[0].(m))
	case shape["properties"] != nil: // known, with where from
		return innermost(shape["properties"].(m)["value"].(m))
	}
	return shape
}

// body is the shape of a request: as of, but another member is refused, and the types in
// it are written out.
func (d *document) body(t reflect.Type) m {
	in := document{shapes: m{}}
	in.of(t)
	return in.closed(ref(t.Name())).(m)
}

func (d *document) closed(v any) any {
	switch v := v.(type) {
	case m:
		if at, ok := v["$ref"].(string); ok {
			shape := d.closed(d.shapes[at[strings.LastIndex(at, "/")+1:]]).(m)
			if about, ok := v["description"].(string); ok {
				shape = describe(about, shape)
			}
			return closed(shape)
		}
		out := m{}
		for k, x := range v {
			out[k] = d.closed(x)
		}
		return out
	case l:
		out := l{}
		for _, x := range v {
			out = append(out, d.closed(x))
		}
		return out
	}
	return v
}
