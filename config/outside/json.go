package outside

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
)

// MemberError is a member of an object that nobody asked for.
type MemberError struct {
	Name string // as it stands there
	Why  string
}

// Error says which member, and what is wrong with it.
func (e *MemberError) Error() string { return fmt.Sprintf("%.60q %s", e.Name, e.Why) }

// JSON reads one JSON value into v, which is a pointer. encoding/json takes a member
// for another whose name differs in capitals or in letters that fold onto each other
// (a long s is an s), and the last of two of the same name: here a name is its
// letters, and no member is there twice. Members that v does not know are left out,
// or with closed are refused.
func JSON(b []byte, v any, closed bool) error {
	if !json.Valid(b) {
		var none any
		return json.Unmarshal(b, &none)
	}
	w := walk{json.NewDecoder(bytes.NewReader(b)), closed, map[reflect.Type]map[string]reflect.Type{}}
	if err := w.value(reflect.TypeOf(v).Elem()); err != nil {
		return err
	}
	return json.Unmarshal(b, v)
}

// walk goes through a value that is valid JSON.
type walk struct {
	*json.Decoder
	closed bool
	known  map[reflect.Type]map[string]reflect.Type
}

// value walks the next value, which is to become a t; nil: nobody knows what.
func (w walk) value(t reflect.Type) error {
	tok, err := w.Token()
	if err != nil {
		return err
	}
	open, nests := tok.(json.Delim)
	if !nests {
		return nil
	}
	t = plain(t)
	seen := map[string]bool{}
	for w.More() {
		inner := elem(t)
		if open == '{' {
			if tok, err = w.Token(); err != nil {
				return err
			}
			name := tok.(string)
			if seen[name] {
				return &MemberError{name, "is there twice"}
			}
			seen[name] = true
			if t != nil && t.Kind() == reflect.Struct {
				if inner, err = w.member(t, name); err != nil {
					return err
				}
			}
		}
		if err := w.value(inner); err != nil {
			return err
		}
	}
	_, err = w.Token()
	return err
}

// member returns the type of the member of a struct that has just this name; nil for
// one that is not known and may be there.
func (w walk) member(t reflect.Type, name string) (reflect.Type, error) {
	members := w.members(t)
	if m, known := members[name]; known {
		return m, nil
	}
	for known := range members {
		if strings.EqualFold(known, name) {
			return nil, &MemberError{name, "is not known here; the name is written " + known}
		}
	}
	if w.closed {
		return nil, &MemberError{name, "is not known here"}
	}
	return nil, nil
}

// members returns the types of a struct's members by the names that encoding/json
// gives them.
func (w walk) members(t reflect.Type) map[string]reflect.Type {
	if m, done := w.known[t]; done {
		return m
	}
	m := map[string]reflect.Type{}
	for _, f := range reflect.VisibleFields(t) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || f.Anonymous && name == "" || name == "-" {
			continue
		}
		if name == "" {
			name = f.Name
		}
		m[name] = f.Type
	}
	w.known[t] = m
	return m
}

var decodes = reflect.TypeFor[json.Unmarshaler]()

// plain is the type behind pointers; nil for one that reads itself, or anything.
func plain(t reflect.Type) reflect.Type {
	for ; t != nil; t = t.Elem() {
		switch {
		case t.Implements(decodes) || reflect.PointerTo(t).Implements(decodes) || t.Kind() == reflect.Interface:
			return nil
		case t.Kind() != reflect.Pointer:
			return t
		}
	}
	return nil
}

// elem is the type of what stands in a list or a map.
func elem(t reflect.Type) reflect.Type {
	if t != nil && (t.Kind() == reflect.Slice || t.Kind() == reflect.Array || t.Kind() == reflect.Map) {
		return t.Elem()
	}
	return nil
}
