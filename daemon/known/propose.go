package known

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"abbed/config"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Proposal is one setting that would help, for the owner to look at.
type Proposal struct {
	// Key is the setting, Value what to set it to, as YAML.
	Key   string `json:"key"`
	Value string `json:"value"`
	// Sure says that the value was tried on what the printer said. A value that
	// is not sure is an example which the owner has to replace.
	Sure bool     `json:"sure"`
	Why  string   `json:"why"`
	Said []string `json:"said,omitempty"`
}

func (e *Examination) add(p Proposal) { e.Proposals = append(e.Proposals, p) }

// propose looks for what is missing, and tries the known shapes on what was
// said.
func (e *Examination) propose(s config.Settings, words *dialect.Dialect) {
	lever := s.Lever != nil || e.guess.Lever != nil
	if !lever {
		lever = e.proposeLever(s)
	}
	if s.Trigger == nil && !(s.Lever != nil && *s.Lever == config.XY{}) && !(e.guess.ZOffset != nil && *e.guess.ZOffset < 0) {
		e.proposeTrigger()
	}
	if s.Travel == nil && e.guess.Travel == nil {
		e.proposeTravel(s)
	}
	if !lever && len(e.guess.Map) == 0 && s.Given["probe.style"] == "" {
		e.add(Proposal{Key: "probe.style", Value: config.StyleStraight,
			Why: "the printer says nothing of a probe's offset or a bed map. Set this if it has a straight probing move (G38.2) and no touch command (G30)"})
	}
	e.proposePlaces(s)
}

// proposeLever looks for the lever among the lines that speak of the probe.
func (e *Examination) proposeLever(s config.Settings) bool {
	for _, line := range e.about(regexp.MustCompile(`(?i)\bprobe\b|\bprobe[ _-]?offset|\boffset\b`)) {
		n := numbersIn(line)
		if len(n) != 3 {
			continue
		}
		pattern := patternOf(line, n, "x", "y", "z")
		words, err := wordsWith(s, "patterns.lever", pattern)
		if err != nil {
			continue
		}
		for _, h := range e.Heard {
			if l, z, ok := words.ReadLever(h.reply); ok && !l.None() {
				e.guess.Lever, e.guess.ZOffset = &l, &z
				e.add(Proposal{Key: "words.patterns.lever", Value: quoted(pattern), Sure: true, Said: []string{line},
					Why: fmt.Sprintf("then the lever is x %.2f, y %.2f mm, the probe's Z offset %.3f mm: look whether that is right", l.X, l.Y, z)})
				return true
			}
		}
	}
	e.add(Proposal{Key: "lever", Value: "[-40, -10]", Said: e.answerTo("M851"),
		Why: "the offset from nozzle to probe is not known: measure it, + to the right and to the back"})
	return false
}

func (e *Examination) proposeTrigger() {
	why := "the height of the nozzle when the probe triggers is not known: measure it"
	if z := e.guess.ZOffset; z != nil {
		why = fmt.Sprintf("the printer says a probe's Z offset of %.3f mm, which should be below 0: measure the height of the nozzle when the probe triggers", *z)
	}
	e.add(Proposal{Key: "trigger", Value: "1.2", Why: why})
}

// proposeTravel looks for six numbers that can be limits.
func (e *Examination) proposeTravel(s config.Settings) {
	for _, line := range e.about(regexp.MustCompile(`(?i)\blimit|\btravel|\brange|\bmax\b|\bmin\b|\bendstop|\baxis|\baxes`)) {
		n := numbersIn(line)
		if len(n) != 6 {
			continue
		}
		var fits []Proposal
		for _, order := range [][]string{{"x0", "y0", "z0", "x1", "y1", "z1"}, {"x0", "x1", "y0", "y1", "z0", "z1"}} {
			pattern := patternOf(line, n, order...)
			if t, ok := e.readTravel(s, pattern); ok {
				e.guess.Travel = &t
				fits = append(fits, Proposal{Key: "words.patterns.limits", Value: quoted(pattern), Sure: true, Said: []string{line},
					Why: fmt.Sprintf("then travel is x %.1f to %.1f, y %.1f to %.1f, z %.1f to %.1f mm: look whether that is right", t.X0, t.X1, t.Y0, t.Y1, t.Z0, t.Z1)})
			}
		}
		if len(fits) == 1 { // two orders that both make sense tell nothing
			e.add(fits[0])
			return
		}
		e.guess.Travel = nil
	}
	e.add(Proposal{Key: "travel", Value: "[0, 0, 220, 220]", Said: e.answerTo("M211"),
		Why: "how far the nozzle can go is not known (its travel, not the bed)"})
}

func (e *Examination) readTravel(s config.Settings, pattern string) (record.Travel, bool) {
	words, err := wordsWith(s, "patterns.limits", pattern)
	if err != nil {
		return record.Travel{}, false
	}
	for _, h := range e.Heard {
		if l, ok := words.ReadLimits(h.reply); ok && l.Travel.W() >= 30 && l.Travel.H() >= 30 {
			return l.Travel, true
		}
	}
	return record.Travel{}, false
}

// proposePlaces asks for what no printer tells.
func (e *Examination) proposePlaces(s config.Settings) {
	bed := "[0, 0, 220, 220]"
	if t := e.guess.Travel; t != nil {
		bed = fmt.Sprintf("[%g, %g, %g, %g]", t.X0, t.Y0, t.X1, t.Y1)
	}
	if s.Bed == nil {
		e.add(Proposal{Key: "bed", Value: bed, Why: "the edges of the bed in the nozzle's coordinates (its travel may reach further)"})
	}
	if s.MapArea == nil && len(e.guess.Map) > 0 {
		e.add(Proposal{Key: "map_area", Value: bed,
			Why: fmt.Sprintf("where the map of %d columns and %d rows lies (see the printer's settings)", len(e.guess.Map[0]), len(e.guess.Map))})
	}
	if s.ZeroAt == nil {
		e.add(Proposal{Key: "zero_at", Value: "[110, 110]", Why: "where the Z offset was set, if not in the middle of the bed"})
	}
}

// about returns the lines that speak of a matter, or that come right behind a
// line without numbers that does. Lines that speak of it themselves come first.
func (e *Examination) about(matter *regexp.Regexp) []string {
	var own, under []string
	for _, h := range e.Heard {
		title := false
		for _, line := range h.Said {
			line = plain(line)
			has := len(numbersIn(line)) > 0
			switch {
			case has && matter.MatchString(line):
				own = append(own, line)
			case has && title:
				under = append(under, line)
			}
			title = !has && matter.MatchString(line)
		}
	}
	return append(own, under...)
}

// answerTo returns what was said to a word, shortened.
func (e *Examination) answerTo(word string) []string {
	for _, h := range e.Heard {
		if first, _, _ := strings.Cut(h.Asked, " "); first == word {
			return firstLines(h.Said)
		}
	}
	return nil
}

func firstLines(said []string) []string { return said[:min(len(said), 4)] }

// numberShape is a number, with the letter right before it.
var numberShape = regexp.MustCompile(`([A-Za-z]?)([-+]?\d+(?:\.\d+)?)`)

// numbersIn finds the numbers of a line; those of command words (M851, G30) and
// of lines (N10) are none.
func numbersIn(line string) [][]int {
	var out [][]int
	for _, m := range numberShape.FindAllStringSubmatchIndex(line, -1) {
		word := line[m[2]:m[3]]
		first := m[2] == 0 || line[m[2]-1] == ' '
		if first && word != "" && strings.Contains("GMN", strings.ToUpper(word)) {
			continue
		}
		out = append(out, m[4:6])
	}
	return out
}

// patternOf turns a line into a pattern for lines like it: the numbers at n
// become the named groups, blanks any.
func patternOf(line string, n [][]int, groups ...string) string {
	var b strings.Builder
	at := 0
	for i, m := range n {
		b.WriteString(loose(line[at:m[0]]))
		fmt.Fprintf(&b, `(?P<%s>[-+]?\d+(?:\.\d+)?)`, groups[i])
		at = m[1]
	}
	return b.String() + loose(line[at:])
}

var blanks = regexp.MustCompile(`\s+`)

// loose quotes a text for a pattern.
func loose(s string) string { return blanks.ReplaceAllString(regexp.QuoteMeta(s), `\s+`) }

// plain is a line without the mark of an echo or a comment, as patterns see it.
func plain(line string) string {
	if rest, echo := strings.CutPrefix(line, "echo:"); echo {
		return strings.TrimSpace(rest)
	}
	return strings.TrimSpace(strings.TrimLeft(line, "/"))
}

// quoted writes a text as YAML, in single quotes.
func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// YAML writes proposals as lines of a settings file. What is not sure stands
// there as a comment, to be completed.
func YAML(all []Proposal) string {
	var b strings.Builder
	var above []string
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b Proposal) int {
		if a.Sure != b.Sure {
			return map[bool]int{true: -1, false: 1}[a.Sure]
		}
		if a.Sure {
			return strings.Compare(a.Key, b.Key) // one group stands together
		}
		return 0
	})
	for _, p := range all {
		path := strings.Split(p.Key, ".")
		for _, line := range append([]string{p.Why + "."}, p.said()...) {
			fmt.Fprintf(&b, "# %s\n", line)
		}
		if !p.Sure {
			fmt.Fprintf(&b, "#%s: %s\n", strings.Join(path, ": {"), p.Value+strings.Repeat("}", len(path)-1))
			continue
		}
		for i, name := range path[:len(path)-1] {
			if i >= len(above) || above[i] != name {
				above = append(slices.Clone(above[:min(i, len(above))]), name)
				fmt.Fprintf(&b, "%s%s:\n", strings.Repeat("  ", i), name)
			}
		}
		fmt.Fprintf(&b, "%s%s: %s\n", strings.Repeat("  ", len(path)-1), path[len(path)-1], p.Value)
	}
	return b.String()
}

func (p Proposal) said() []string {
	out := make([]string, len(p.Said))
	for i, s := range p.Said {
		out[i] = "the printer said: " + strconv.QuoteToASCII(s)
	}
	return out
}
