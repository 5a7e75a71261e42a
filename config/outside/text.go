package outside

import (
	"reflect"
	"strings"
	"unicode"
)

// Seen reports whether c can be seen, or is a blank: no control character, none that
// turns the direction of what follows, none without a width. (Unicode 15, 4.5 general
// categories, and 5.21 Default_Ignorable_Code_Point, which also holds letters and
// marks that show nothing.)
func Seen(c rune) bool {
	return unicode.IsGraphic(c) && !unicode.In(c, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// Text returns s as it can be shown: what cannot be seen, and bytes that are no text,
// are question marks.
func Text(s string) string {
	return strings.Map(func(c rune) rune {
		if Seen(c) {
			return c
		}
		return '?'
	}, strings.ToValidUTF8(s, "?"))
}

// Texts makes every text in what v points to such that it can be shown, but for the
// ends of its lines.
func Texts(v any) { shown(reflect.ValueOf(v)) }

func shown(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			shown(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			shown(v.Field(i))
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			shown(v.Index(i))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			key, to := reflect.New(k.Type()).Elem(), reflect.New(v.Type().Elem()).Elem()
			key.Set(k)
			to.Set(v.MapIndex(k))
			v.SetMapIndex(k, reflect.Value{})
			shown(key)
			shown(to)
			v.SetMapIndex(key, to)
		}
	case reflect.String:
		if v.CanSet() {
			lines := strings.Split(v.String(), "\n")
			for i := range lines {
				lines[i] = Text(lines[i])
			}
			v.SetString(strings.Join(lines, "\n"))
		}
	}
}
