package dialect

import (
	"fmt"
	"regexp"
	"strings"

	"abbed/gcode"
)

// Identity is what a printer says of itself.
type Identity struct {
	Fields map[string]string
	Caps   map[string]bool
}

// What is kept of what a printer says of itself: it is kept in every run and shown on
// a page. Printers have some ten fields and thirty capabilities of some ten letters.
const (
	mostFields = 64
	mostValue  = 200 // letters
)

var (
	keyShape = regexp.MustCompile(`(?:^|\s)([A-Z][A-Z0-9_-]+):`)
	anyKey   = regexp.MustCompile(`(?:^|\s)([A-Za-z][A-Za-z0-9_-]+):(?:\S|$)`)
	// temperature is how a temperature report begins.
	temperature = regexp.MustCompile(`^[TBC]\d*:\s*[-+]?\d`)
	capShape    = regexp.MustCompile(`(?i)^cap:\s*([A-Z0-9_]+)\s*:\s*([01])$`)
)

// ReadIdentity reads `KEY:value ...`, then `Cap:NAME:0/1` lines. A value goes on
// to the next key. Keys are in capitals; if no line has any, others are taken.
// Echoes and comments count only if there is nothing else. ok is false without
// a single field.
func (d *Dialect) ReadIdentity(r gcode.Reply) (Identity, bool) {
	tiers := spoken(r)
	for _, key := range [...]*regexp.Regexp{keyShape, anyKey} {
		for _, lines := range tiers[:2] {
			if id := identityIn(lines, key, firstWord(d.templates["identify"])); len(id.Fields) > 0 {
				return id, true
			}
		}
	}
	return Identity{}, false
}

// identityIn reads some lines. Those that hold the word itself are the printer's
// talk about a word that it does not know.
func identityIn(lines []string, key *regexp.Regexp, word string) Identity {
	id := Identity{Fields: map[string]string{}, Caps: map[string]bool{}}
	for _, t := range lines {
		if m := capShape.FindStringSubmatch(t); m != nil {
			if len(id.Caps) < 4*mostFields {
				id.Caps[strings.ToUpper(m[1])] = m[2] == "1"
			}
			continue
		}
		if strings.Contains(strings.ToUpper(t), word) || temperature.MatchString(t) {
			continue
		}
		id.take(key, t)
	}
	return id
}

// take adds the fields of one line.
func (id Identity) take(key *regexp.Regexp, line string) {
	at := key.FindAllStringSubmatchIndex(line, -1)
	for i, m := range at {
		end := len(line)
		if i+1 < len(at) {
			end = at[i+1][0]
		}
		if v := strings.TrimSpace(line[m[3]+1 : end]); v != "" && len(id.Fields) < mostFields && m[3]-m[2] <= mostValue {
			id.Fields[line[m[2]:m[3]]] = fmt.Sprintf("%.*s", mostValue, v)
		}
	}
}

// ReadSettings returns the settings report as text, one setting a line, without
// the chatter around it; empty if there was none.
func (d *Dialect) ReadSettings(r gcode.Reply) string {
	var b strings.Builder
	for _, l := range r.Lines {
		if l.Kind != gcode.Report && l.Kind != gcode.Echo && l.Kind != gcode.Comment {
			continue
		}
		if t := bare(l); t != "" {
			b.WriteString(t)
			b.WriteByte('\n')
		}
	}
	return b.String()
}

var (
	levellingCode  = regexp.MustCompile(`(?i)\bM420\b.*?\bS\s*([01])\b`)
	levellingWords = regexp.MustCompile(`(?i)level\w*\b.*?\b(on|off|enabled|disabled|active|inactive)\b`)
	mapWords       = regexp.MustCompile(`(?i)\b(?:map|mesh|compensation)\b.*?\b(on|off|enabled|disabled|active|inactive)\s*(?:$|[.,;)\]])`)
)

// ReadLevelling reads whether the stored levelling is on: from the line with
// its word and S0 or S1 in a settings report, or from a line that speaks of
// levelling or the map and says on or off. If lines differ there is no answer.
func (d *Dialect) ReadLevelling(r gcode.Reply) (on, ok bool) {
	if re := d.patterns["levelling"]; re != nil {
		for _, line := range all(r) {
			if m := re.FindStringSubmatch(line); m != nil {
				return isOn(m[re.SubexpIndex("state")])
			}
		}
		return false, false
	}
	for _, re := range [...]*regexp.Regexp{levellingCode, levellingWords, mapWords} {
		for _, line := range all(r) {
			m := re.FindStringSubmatch(line)
			if m == nil {
				continue
			}
			now, _ := isOn(m[1])
			if ok && now != on {
				return false, false
			}
			on, ok = now, true
		}
		if ok {
			return on, true
		}
	}
	return false, false
}

// heaters are temperatures with targets, which look like done/total.
var heaters = regexp.MustCompile(`\b[A-Z]\d*:\s*[-+.\d]+\s*/\s*[-+.\d]+`)

var doneOfTotal = regexp.MustCompile(`(?:^|[^\d./])(\d+)\s*(?:/|\bof\b)\s*(\d+)(?:$|[^\d./])`)

// ReadPrinting reads whether a print runs from the printer's own storage: two
// whole numbers, done/total, mean yes if the total is not 0; neither means no.
// ok is false if the printer did not answer at all.
func (d *Dialect) ReadPrinting(r gcode.Reply) (printing, ok bool) {
	if d.patterns["printing"] != nil {
		v, found := d.byPattern("printing", r)
		return found && v[1].v > 0, r.OK.Kind == gcode.OK || found
	}
	for _, line := range all(r) {
		if m := doneOfTotal.FindStringSubmatch(heaters.ReplaceAllString(line, "")); m != nil {
			return strings.Trim(m[2], "0") != "", true
		}
	}
	return false, r.OK.Kind == gcode.OK
}
