package config

import "strings"

// Fault is one thing that is wrong with the settings.
type Fault struct {
	// Source says where the value was read: the file with its line, the
	// variable, the flag; empty for a default.
	Source string
	// Field is the key, Value what was given, Hint what to do.
	Field string
	Value string
	Hint  string
}

// String gives the fault in one line.
func (f Fault) String() string {
	var b strings.Builder
	for _, part := range []string{f.Source, f.Field} {
		if part != "" && b.Len() > 0 {
			b.WriteString(": ")
		}
		b.WriteString(part)
	}
	if f.Value != "" {
		b.WriteString(" = " + f.Value)
	}
	if f.Hint != "" {
		b.WriteString(": " + f.Hint)
	}
	return b.String()
}

// Error is every fault of the settings at once; none is left for a second try.
type Error struct{ Faults []Fault }

// Error gives one line for each fault.
func (e *Error) Error() string {
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		lines[i] = "config: read settings: " + f.String()
	}
	return strings.Join(lines, "\n")
}
