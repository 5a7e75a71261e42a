package page

import (
	"html/template"
	"math"
	"regexp"
	"strings"
	"time"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/status"
)

// words are what templates say numbers and moments with.
var words = template.FuncMap{
	"file": file, "mm": mm, "fine": fine, "pm": pm, "place": say.At, "span": span,
	"too": func(v float64) string { return tight(say.Too(v)) }, "temp": func(v float64) string { return tight(say.Temp(v)) },
	"stamp": say.Moment, "iso": iso, "state": func(s api.State) string { return stateWords[s] }, "dof": dof, "join": strings.Join, "number": number,
	"linkword": func(l api.Link) string { return linkWords[l] }, "appliedword": func(a api.AppliedState) string { return appliedWords[a] },
	"zone":     func() string { return time.Now().Format("UTC-07:00") },
	"clock":    say.Clock,
	"measured": measured, "lead": lead, "rest": rest, "whole": func(s string) string { return tight(say.Sentence(s)) }, "within": func(part, whole string) bool { return strings.Contains(whole, part) },
	"fix": func(v any, n int) string { return say.Fixed(value(v), n) }, "owed": func(o []string) api.Todo { return status.Todo(status.Snapshot{Printer: api.Printer{Owed: o}})[0] }, "um": tight, "sign": sign, "sum": func(a, b float64) float64 { return a + b },
}

// sentence is the first one of several, which end with a full stop or a question mark.
var sentence = regexp.MustCompile(`^(.*?[.?]) (.*)$`)

// lead is the first sentence of a text, rest what follows it: the one is read at
// arm's length, the other below it.
func lead(s string) string {
	s = tight(s)
	if m := sentence.FindStringSubmatch(s); m != nil {
		return m[1]
	}
	return s
}

func rest(s string) string {
	if m := sentence.FindStringSubmatch(tight(s)); m != nil {
		return m[2]
	}
	return ""
}

// inUnit is a number and its unit, which the page keeps on one line.
var inUnit = regexp.MustCompile(`(\d) (mm|°C|%|s|min|h)\b|(\d) (%)`)

// tight keeps each number of a text beside its unit.
func tight(s string) string { return inUnit.ReplaceAllString(s, "$1$3\u00a0$2$4") }

func mm(v float64) string         { return tight(say.MM(v)) }
func fine(v float64) string       { return tight(say.Fine(v)) }
func pm(half float64) string      { return tight(say.PM(half)) }
func half(m api.Measured) float64 { return math.Abs(m.Hi95-m.Lo95) / 2 }
func span(s float64) string       { return tight(say.Span(s)) }
func sign(v float64) string       { return say.Signed(v, 3) }

// measured is a value with its half width, for Details.
func measured(m api.Measured) string {
	return tight(say.Unit(m.Value, m.Unit) + " ±" + say.Unit(half(m), m.Unit))
}

func number(v float64, unit string) string { return tight(say.Unit(v, unit)) }

// value is a number that may be known or not.
func value(v any) float64 {
	if p, ok := v.(*float64); ok && p != nil {
		return *p
	}
	f, _ := v.(float64)
	return f
}

func iso(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func dof(v *float64) string {
	if v == nil {
		return "\u221e"
	}
	return say.Fixed(*v, 0)
}

// stateWords say the state of a run.
var stateWords = map[api.State]string{
	api.AwaitingConfirmation: "waits for you to start it", api.Running: "is running", api.AwaitingPerson: "asks you a question",
	api.AwaitingGauge: "waits at the feeler gauge", api.AwaitingNext: "waits for Next",
	api.Done: "done", api.Stopped: "stopped", api.Failed: "failed",
}
