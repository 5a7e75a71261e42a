package page

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"abbed/config/say"
	"abbed/daemon/api"
)

// card is a finding with the picture that shows its evidence, nil if none was
// drawn or a card above has it.
type card struct {
	api.Finding
	Figure *figure
}

// evidence names for each finding the titles of pictures that show it, the
// best first.
var evidence = map[string][]string{
	"beam-twist": {titleWhy, titleGap}, "beam-pitch": {titleWhy, titleGap}, "head-tilt": {titleWhy, titleGap},
	"bed-roll": {titleGap}, "bed-pitch": {titleGap}, "healthy": {titleGap}, "repair": {titleGap},
	"true-shape": {titleProfile, titleMap}, "undetermined": {titleProfile, titleMap},
	"loose-carriage": {titleRepeat}, "probe-not-repeatable": {titleRepeat}, "worn-wheels": {titleRows}, "drift": {titleBase, titleRepeat},
}

// Titles of pictures that findings point to.
const (
	titleWhy     = "Why the map cannot show it"
	titleGap     = "What it costs at the nozzle"
	titleProfile = "The map from left to right"
	titleMap     = "The map as probed"
	titleRepeat  = "The same place, again and again"
	titleRows    = "One row, passed again"
	titleBase    = "The base point over time"
)

// cards gives each finding its picture; the pictures that none took are left.
func cards(found []api.Finding, figures []figure) (out []card, left []figure) {
	taken := map[int]bool{}
	for _, f := range found {
		c := card{Finding: onLine(f)}
		for _, title := range evidence[f.ID] {
			for i := range figures {
				if c.Figure == nil && !taken[i] && figures[i].Title == title {
					c.Figure, taken[i] = &figures[i], true
				}
			}
		}
		out = append(out, c)
	}
	for i, f := range figures {
		if !taken[i] {
			left = append(left, f)
		}
	}
	return out, left
}

// onLine keeps the numbers of a finding beside their units.
func onLine(f api.Finding) api.Finding {
	for _, s := range []*string{&f.Sentence, &f.Evidence, &f.Doubt, &f.Next} {
		*s = tight(*s)
	}
	if rest, ok := strings.CutPrefix(f.Next, "Decide: "); ok && rest != "" { // it stands below that heading
		first, n := utf8.DecodeRuneInString(rest)
		f.Next = string(unicode.ToUpper(first)) + rest[n:]
	}
	return f
}

// layerSentences say what the gap error, and what a correction leaves of it,
// is worth at a first layer of the given height, mm; "" if not known. brief is
// the same as now in a few words.
func layerSentences(layer float64, a *api.Analysis, t *api.Table, tolerance float64) (now, brief, after string) {
	if !(layer > 0) {
		return "", "", ""
	}
	share := func(v float64) string { return tight(say.Percent(math.Abs(v) / layer)) }
	bears := ""
	if tolerance > 0 {
		bears = fmt.Sprintf(" Such a layer bears %s (%s).", pm(tolerance), share(tolerance))
	}
	if a != nil && a.Largest != nil {
		way := wayOff(*a.Largest, tolerance)
		brief = fmt.Sprintf("up to %s of its height %s", share(a.Largest.Value), way)
		now = fmt.Sprintf("At worst the nozzle is %s, %s (%s of a first layer of %s) %s.%s", mm(math.Abs(a.Largest.Value)), pm(half(*a.Largest)), share(a.Largest.Value), mm(layer), way, bears)
	}
	if t != nil && t.Digest != nil {
		after = fmt.Sprintf("Within %s, as far as is known: %s of a first layer of %s.%s", pm(t.LargestU95), share(t.LargestU95), mm(layer), bears)
	}
	return now, brief, after
}

// wayOff says what a gap error does to a first layer that bears so much of it,
// mm; 0: not known.
func wayOff(largest api.Measured, tolerance float64) string {
	way, does := "too high", "it does not stick there"
	if largest.Value < 0 {
		way, does = "too low", "it digs in there"
	}
	switch beyond := max(math.Abs(largest.Lo95), math.Abs(largest.Hi95)); {
	case tolerance > 0 && beyond <= tolerance:
		does = "the layer bears that"
	case tolerance > 0 && math.Abs(largest.Value) <= tolerance:
		does = "the layer bears that, if the doubt of " + pm(half(largest)) + " does not add to it"
	}
	return way + ": " + does
}
