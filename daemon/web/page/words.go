package page

import (
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
)

// words are what templates say numbers and moments with.
var words = template.FuncMap{
	"file": file, "lines": func(s string) []string { return strings.Split(strings.TrimSpace(s), "\n") }, "mm": mm, "plus": plus, "place": place, "span": span, "half": half,
	"stamp": stamp, "iso": iso, "state": stateWords, "dof": dof, "join": strings.Join, "percent": percent, "number": number,
	"linkword": func(l api.Link) string { return linkWords[l] }, "appliedword": func(a api.AppliedState) string { return appliedWords[a] },
	"zone":     func() string { return time.Now().Format("UTC-07:00") },
	"clock":    func(t time.Time) string { return t.Local().Format("15:04") },
	"measured": measuredWords, "printf": printf, "lead": lead, "rest": rest, "within": func(part, whole string) bool { return strings.Contains(whole, part) },
	"fix": fixed, "step": stepWords, "owed": status.Owed, "um": micrometres, "sign": sign, "sum": func(a, b float64) float64 { return a + b },
}

// sentence is the first one of several, which end with a full stop or a question mark.
var sentence = regexp.MustCompile(`^(.*?[.?]) (.*)$`)

// lead is the first sentence of a text, rest what follows it: the one is read at
// arm's length, the other below it.
func lead(s string) string {
	s = micrometres(s)
	if m := sentence.FindStringSubmatch(s); m != nil {
		return m[1]
	}
	return s
}

func rest(s string) string {
	if m := sentence.FindStringSubmatch(micrometres(s)); m != nil {
		return m[2]
	}
	return ""
}

// printf is that of fmt, for what may be told or not as well: a pointer stands for
// the number that it leads to.
func printf(format string, args ...any) string {
	for i, a := range args {
		if p, ok := a.(*float64); ok && p != nil {
			args[i] = *p
		}
	}
	return fmt.Sprintf(format, args...)
}

// The space between number and unit does not break.
const thin = "\u00a0"

// fixed writes v to 0.001, without a minus before zero; "?" for what is no
// number.
func fixed(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', 3, 64)
	if s == "-0.000" {
		return "0.000"
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

// mm says a length.
func mm(v float64) string { return fixed(v) + thin + "mm" }

// sign writes v to 0.001 with its sign.
func sign(v float64) string {
	if s := fixed(v); v > 0 && s != "0.000" {
		return "+" + s
	}
	return fixed(v)
}

// plus says a length with its sign.
func plus(v float64) string { return sign(v) + thin + "mm" }

// place says where on the bed.
func place(u, v float64) string {
	return "x" + thin + short(u) + thin + "mm, y" + thin + short(v) + thin + "mm"
}

// short writes v to 0.1, without a needless zero.
func short(v float64) string {
	return strings.Replace(strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64), "-", "\u2212", 1)
}

// span says how long: seconds below two minutes, minutes above.
func span(seconds float64) string {
	if seconds < 120 {
		return fmt.Sprintf("%.0f"+thin+"s", math.Ceil(seconds))
	}
	return fmt.Sprintf("%.0f"+thin+"min", math.Ceil(seconds/60))
}

// half says the half width of a 95 % interval with its unit.
func half(m api.Measured) string {
	return "\u00b1" + number((m.Hi95-m.Lo95)/2, m.Unit)
}

// number says a value in its unit; lengths to 0.001.
func number(v float64, unit string) string {
	switch {
	case unit == "1" || unit == "":
		return fmt.Sprintf("%.2f", v)
	case strings.HasPrefix(unit, "mm/"):
		return strings.Replace(fmt.Sprintf("%.4f", v), "-", "\u2212", 1) + thin + unit
	default:
		return fixed(v) + thin + unit
	}
}

// percent says a share.
func percent(v float64) string { return fmt.Sprintf("%.0f"+thin+"%%", 100*v) }

// stamp says a moment in the machine's local time; the script turns it into
// that of the reader.
func stamp(t time.Time) string { return t.Local().Format("2 Jan 2006, 15:04") }

func iso(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func dof(v *float64) string {
	if v == nil {
		return "\u221e"
	}
	return fmt.Sprintf("%.0f", *v)
}

// stateWords says the state of a run.
func stateWords(s api.State) string {
	switch s {
	case api.AwaitingConfirmation:
		return "waits for your word"
	case api.Running:
		return "goes on"
	case api.AwaitingPerson:
		return "asks you something"
	case api.AwaitingGauge:
		return "waits at the feeler gauge"
	case api.AwaitingNext:
		return "waits for Next"
	case api.Done:
		return "done"
	case api.Stopped:
		return "stopped"
	default:
		return "failed"
	}
}

// stepWords names a step as the overview does.
func stepWords(name string) string {
	for _, c := range choices(api.Printer{}) {
		if c.Name == name {
			return c.Label
		}
	}
	if name == "prove" {
		return "Prove"
	}
	return name
}
