package web

import (
	"encoding/json"
	"reflect"
	"strings"
	"time"
)

// tidy returns body with every list and map that is nil replaced by an empty one, where the
// description promises one: null is neither. What was given is not changed.
func tidy(body any) any {
	v := reflect.ValueOf(body)
	if !v.IsValid() {
		return body
	}
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	tidied(out)
	return out.Interface()
}

// tidied tidies v in place, and what it points to as a copy.
func tidied(v reflect.Value) {
	switch {
	case v.Type() == reflect.TypeFor[time.Time](), v.Type() == reflect.TypeFor[json.RawMessage]():
	case v.Kind() == reflect.Pointer && !v.IsNil():
		was := v.Elem()
		v.Set(reflect.New(was.Type()))
		v.Elem().Set(was)
		tidied(v.Elem())
	case v.Kind() == reflect.Slice:
		was := v.Len()
		all := reflect.MakeSlice(v.Type(), was, was)
		reflect.Copy(all, v)
		v.Set(all)
		for i := 0; i < was && holds(v.Type().Elem()); i++ {
			tidied(v.Index(i))
		}
	case v.Kind() == reflect.Map && v.IsNil():
		v.Set(reflect.MakeMap(v.Type()))
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			_, options, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			if v.Type().Field(i).IsExported() && v.Type().Field(i).Tag.Get("null") == "" && (options == "" || !v.Field(i).IsZero()) {
				tidied(v.Field(i))
			}
		}
	}
}

// holds says that a value of a type may hold lists.
func holds(t reflect.Type) bool {
	return t.Kind() == reflect.Struct || t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice
}
