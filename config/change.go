package config

import (
	"maps"
	"reflect"
	"slices"
)

// Changed returns the keys of the settings that differ between a and b, in the
// order of the example. One that somebody set to its default differs from one
// that nobody set.
func Changed(a, b Settings) []string {
	var out []string
	for _, f := range table {
		_, inA := a.Given[f.Key]
		_, inB := b.Given[f.Key]
		if inA != inB || !same(f.value(&a), f.value(&b)) {
			out = append(out, f.Key)
		}
	}
	return out
}

// same compares two values of a field; no texts by name are as good as none.
func same(a, b any) bool {
	if m, ok := a.(map[string]string); ok {
		n, _ := b.(map[string]string)
		return maps.Equal(m, n)
	}
	return reflect.DeepEqual(a, b)
}

// Take returns s with the values that the keys have in from, and with where they
// were given. It panics on a key that is no setting.
func Take(s, from Settings, keys []string) Settings {
	s.Given = maps.Clone(s.Given)
	if s.Given == nil {
		s.Given = map[string]string{}
	}
	for _, key := range keys {
		f, ok := find(key)
		if !ok {
			panic("config: Take: no setting " + key)
		}
		reflect.ValueOf(f.at(&s)).Elem().Set(reflect.ValueOf(f.at(&from)).Elem())
		delete(s.Given, key)
		if where, given := from.Given[key]; given {
			s.Given[key] = where
		}
	}
	if slices.Contains(keys, "effort") {
		s.size()
	}
	return s
}
