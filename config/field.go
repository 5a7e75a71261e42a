package config

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"
)

// Field describes one setting.
type Field struct {
	// Key is its name in the file, with dots: heat.nozzle.
	Key string
	// Flag is the name of its own flag, or empty (then --set key=value).
	Flag string
	// Says is what it is for and what it costs, in one or two lines.
	Says string
	// More leaves it to the list of all settings: few owners need it.
	More bool
	// Part begins a part of the example.
	Part string
	// Words lists the words that a text may be, if only some are.
	Words []string
	// Lo and Hi bound a number (a duration in s), both included; Unit names it.
	Lo, Hi float64
	Unit   string
}

// at returns a pointer to the field in s: its key is the tags of Settings, with dots.
func (f Field) at(s *Settings) any {
	v := reflect.ValueOf(s).Elem()
	for part := range strings.SplitSeq(f.Key, ".") {
		fields := reflect.VisibleFields(v.Type())
		v = v.Field(slices.IndexFunc(fields, func(x reflect.StructField) bool { return x.Tag.Get("mapstructure") == part }))
	}
	return v.Addr().Interface()
}

// Env returns the name of the field in the environment.
func (f Field) Env() string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(f.Key, ".", "_"))
}

// Shape says in a few words what the value looks like.
func (f Field) Shape() string {
	switch f.at(new(Settings)).(type) {
	case *string:
		if f.Words != nil {
			return strings.Join(f.Words, ", ")
		}
		return "text"
	case *int:
		return "a whole number"
	case *bool:
		return "true or false"
	case *time.Duration:
		return "a duration with a unit, such as 10s or 5m"
	case **Rect:
		return "X0,Y0,X1,Y1"
	case **XY:
		return "X,Y"
	case *map[string]string:
		return "texts by name"
	}
	return "a number"
}

// Range says the useful range in words, or "" if there is none.
func (f Field) Range() string {
	if f.Lo == 0 && f.Hi == 0 {
		return ""
	}
	span := number(f.Lo) + ".." + number(f.Hi)
	if f.Unit != "" {
		span += " " + f.Unit
	}
	return span
}

// value returns the field's value in s: nil for one that is not set.
func (f Field) value(s *Settings) any {
	v := reflect.ValueOf(f.at(s)).Elem()
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
	}
	return v.Interface()
}

// show gives a value as a person would write it.
func show(v any) string {
	switch v := v.(type) {
	case nil:
		return "not set"
	case float64:
		return number(v)
	case string:
		return quote(v)
	case time.Duration:
		return span(v)
	}
	return fmt.Sprint(v)
}

// span gives a duration without its trailing zeros: 5m, not 5m0s.
func span(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

// hint says what the field needs, and what it is.
func (f Field) hint() string {
	needs := "needs " + f.Shape()
	if r := f.Range(); r != "" {
		needs = "needs " + r
	}
	return needs + ". " + f.Says
}

// find returns the field of a key.
func find(key string) (Field, bool) {
	for _, f := range table {
		if f.Key == key {
			return f, true
		}
	}
	return Field{}, false
}

// Fields returns the description of every setting.
func Fields() []Field { return append([]Field(nil), table...) }
