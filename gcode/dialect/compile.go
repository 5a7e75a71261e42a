package dialect

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"abbed/gcode"
)

// Fault is one thing that is wrong with Words.
type Fault struct {
	Key   string // "templates.touch", "patterns.lever"
	Value string
	Text  string
	Hint  string
}

// WordsError holds everything that is wrong with Words, by key.
type WordsError struct{ Faults []Fault }

// Error lists all faults.
func (e *WordsError) Error() string {
	var b strings.Builder
	b.WriteString("dialect: words:")
	for _, f := range e.Faults {
		fmt.Fprintf(&b, "\n  %s = %q: %s (%s)", f.Key, f.Value, f.Text, f.Hint)
	}
	return b.String()
}

// Dialect is Words, checked and compiled.
type Dialect struct {
	templates map[string]string
	patterns  map[string]*regexp.Regexp
}

// New checks and compiles w, laid over Default. The error is a *WordsError.
func New(w Words) (*Dialect, error) {
	all := w.over(Default())
	d := &Dialect{templates: all.Templates, patterns: map[string]*regexp.Regexp{}}
	var faults []Fault
	for _, k := range slices.Sorted(maps.Keys(all.Templates)) {
		if f := checkTemplate(k, all.Templates[k]); f != nil {
			faults = append(faults, *f)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(all.Patterns)) {
		re, f := compilePattern(k, all.Patterns[k])
		if f != nil {
			faults = append(faults, *f)
		}
		if re != nil {
			d.patterns[k] = re
		}
	}
	if faults != nil {
		return nil, &WordsError{faults}
	}
	return d, nil
}

var place = regexp.MustCompile(`\{[^{}]*\}|[{}]`)

func checkTemplate(key, value string) *Fault {
	bad := func(text, hint string) *Fault { return &Fault{"templates." + key, value, text, hint} }
	f, known := forms[key]
	switch {
	case !known:
		return bad("unknown key", "known are "+names(forms))
	case value == "" && f.option:
		return nil
	case value == "":
		return bad("empty", "this word is needed; the default is "+f.word)
	}
	found, want := place.FindAllString(value, -1), place.FindAllString(f.word, -1)
	hint := "places are " + cmp.Or(strings.Join(want, " "), "none")
	for _, p := range found {
		if !slices.Contains(want, p) {
			return bad("unknown place "+p, hint)
		}
	}
	for _, p := range want {
		if !slices.Contains(found, p) {
			return bad("the place "+p+" is missing", hint)
		}
	}
	check := gcode.CheckQuery
	if f.kind == motion {
		check = gcode.Check
	}
	if err := check(place.ReplaceAllString(value, "-9999.999")); err != nil {
		return bad(err.Error(), "one plain command, such as "+f.word)
	}
	return nil
}

func names[T any](m map[string]T) string {
	return strings.Join(slices.Sorted(maps.Keys(m)), ", ")
}

func compilePattern(key, value string) (*regexp.Regexp, *Fault) {
	bad := func(text, hint string) (*regexp.Regexp, *Fault) {
		return nil, &Fault{"patterns." + key, value, text, hint}
	}
	want, known := groups[key]
	if !known {
		return bad("unknown key", "known are "+names(groups))
	}
	if value == "" {
		return nil, nil
	}
	re, err := regexp.Compile(value)
	if err != nil {
		return bad(err.Error(), "a regular expression in RE2 syntax")
	}
	for _, g := range want {
		if re.SubexpIndex(g) < 0 {
			return bad("the group "+g+" is missing", "write it as (?P<"+g+">...)")
		}
	}
	return re, nil
}

// Has reports whether the machine has the word of this template key.
func (d *Dialect) Has(key string) bool { return d.templates[key] != "" }

// IsRequest reports whether an unasked line is the one that the owner named to
// request a run. Without such a pattern none is.
func (d *Dialect) IsRequest(l gcode.Line) bool {
	re := d.patterns["request"]
	return re != nil && !l.Damaged && re.MatchString(l.Text)
}
