// Package saytest holds texts that people read to the house's guide to plain words. Page,
// commands, documents, findings, errors and alerts are all held to the same rules.
package saytest

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind says which rules of length and of words hold.
type Kind int

// Page and errors have shorter sentences than documents; what is under Details may name
// statistics, nodes and codes. An error may join the fact and the remedy by a semicolon.
const (
	Page Kind = iota
	Details
	Document
	Error
)

// not are the words that are said otherwise, each with what to say.
var not = []struct {
	word *regexp.Regexp
	say  string
	in   []Kind // nil: everywhere
}{
	{word(`blades?|feelers? (?:strip|blade)`), "feeler gauge", nil},
	{word(`gaugings|records? at`), "readings", nil},
	{word(`zero place|spots?`), "point", nil},
	{word(`stored map|map anew`), "bed map", nil},
	{word(`additions?|compensat\w*`), "correction", nil},
	{word(`sign(?:ed|s)? off|sign-off`), "approve", nil},
	{word(`proved?|proves|unproved|disproved?`), "verify", nil},
	{word(`tak(?:e|en) (?:it )?back`), "undo", nil},
	{word(`gap errors?`), "nozzle error", nil},
	{word(`doubts?|u95|half widths?|digest`), "known to ±", []Kind{Page}},
	{word(`levers?`), "probe offset", []Kind{Page}},
	{word(`quick check|small survey`), "check", nil},
	{word(`bears?|shall|foretell\w*|foretold|anew|let in|gone on with`), "a plain verb of today", nil},
	{word(`we|ours?|nobody|somebody|your word`), "you, abbed or the printer", nil},
	{word(`um|µm`), "mm", nil},
}

func word(alternatives string) *regexp.Regexp {
	return regexp.MustCompile(`(?i)(?:^|[^\w-])(` + alternatives + `)(?:[^\w-]|$)`)
}

// numbers are the forms that no number has.
var numbers = []struct {
	form *regexp.Regexp
	say  string
	in   []Kind
}{
	{regexp.MustCompile(`(?:^|[\s(])-\d`), "a true minus", nil},
	{regexp.MustCompile(`−0(?:\.0+)?(?:[^.\d]|$)`), "no minus before zero", nil},
	{regexp.MustCompile(`± \d`), "± closed up", nil},
	{regexp.MustCompile(`(?:^|[^\d.])(?:0\.0(?:[01][0-46-9]|[2-9]\d)|0\.[1-9]\d\d|[1-9]\d*\.\d{3}|0\.\d{4})\d* mm`), "a length to 0.01 mm", []Kind{Page}},
	{regexp.MustCompile(`\b[xy] ?= ?\d`), "a position as X 195, Y 15", nil},
	{regexp.MustCompile(`\d (?:C|deg)\b`), "°C, °", nil},
}

var (
	stops    = regexp.MustCompile(`([.?!:])(\s+|$)`)
	spelling = regexp.MustCompile(`[XY] [−\d][\d.]*|[+−±]?\d[\d.,]*(?: (?:[+−±]\d[\d.,]* )?(?:mm|°C|%|°/m|°|s|min|h)\b)?|[\p{L}%][\p{L}\p{N}'’%.-]*`)
)

// Faults lists what is wrong with a text of one or several sentences. A text of fewer than
// four words is a name or a label, and needs neither capital nor full stop.
func Faults(text string, kind Kind) (out []string) {
	text = strings.Join(strings.Fields(strings.ReplaceAll(text, "\u00a0", " ")), " ")
	for _, n := range not {
		if m := n.word.FindStringSubmatch(text); m != nil && holds(n.in, kind) {
			out = append(out, fmt.Sprintf("%q: say %s", m[1], n.say))
		}
	}
	for _, n := range numbers {
		if m := n.form.FindString(text); m != "" && holds(n.in, kind) {
			out = append(out, fmt.Sprintf("%q: write %s", strings.TrimSpace(m), n.say))
		}
	}
	if n := strings.Count(text, ";"); n > 1 || n > 0 && kind == Page {
		out = append(out, "a semicolon: write two sentences")
	}
	most := map[Kind]int{Page: 15, Details: 25, Document: 20, Error: 15}[kind]
	if kind == Error {
		text = strings.ReplaceAll(text, "; ", ". ")
	}
	for _, s := range Sentences(text) {
		if n := Words(s); n > most {
			out = append(out, fmt.Sprintf("%d words: %s", n, s))
		}
	}
	return out
}

// Whole lists what a sentence lacks: its capital or its full stop.
func Whole(text string) (out []string) {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\u00a0", " "))
	if Words(text) < 4 {
		return nil
	}
	if first, _ := utf8.DecodeRuneInString(text); unicode.IsLower(first) {
		out = append(out, "no capital")
	}
	if !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?") && !strings.HasSuffix(text, "!") && !strings.HasSuffix(text, ":") {
		out = append(out, "no full stop")
	}
	return out
}

// Sentences cuts a text where a full stop, a question mark or a colon ends one.
func Sentences(text string) (out []string) {
	for _, s := range stops.Split(text, -1) {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// Words counts the words of a text; a number with its unit is one, and so is a coordinate.
func Words(text string) int { return len(spelling.FindAllString(text, -1)) }

func holds(in []Kind, kind Kind) bool {
	if in == nil {
		return true
	}
	for _, k := range in {
		if k == kind {
			return true
		}
	}
	return false
}
