package dialect

import (
	"maps"
	"strings"
)

// Words are the templates of commands and the patterns of answers, by key. They
// come from the settings. Missing keys stand at Default.
//
// A template holds places for numbers in braces: `G30 X{x} Y{y}`. An empty
// template says that the machine has no such word. A pattern is a regular
// expression (RE2) with named groups, which is matched against each line of
// the answer; an empty one says: by shape.
type Words struct {
	Templates map[string]string
	Patterns  map[string]string
}

// kind of a command.
type kind int

const (
	query kind = iota
	motion
)

// form is what is known of a template: whether it moves, the word that most
// printers take, whose places every other must hold too, and whether it may be left
// out.
type form struct {
	kind   kind
	word   string
	option bool
}

var forms = map[string]form{
	"identify":      {query, "M115", false},
	"where":         {query, "M114", false},
	"temperatures":  {query, "M105", false},
	"settings":      {query, "M503", true},
	"lever":         {query, "M851", true},
	"limits":        {query, "M211", true},
	"limits_on":     {query, "M211 S1", true},
	"limits_off":    {query, "M211 S0", true},
	"levelling_on":  {query, "M420 S1", true},
	"levelling_off": {query, "M420 S0", true},
	"map":           {query, "M420 V", true},
	"node":          {query, "M421 I{i} J{j} Z{z}", true},
	"keep":          {query, "M500", true},
	"settle":        {query, "M400", false},
	"printing":      {query, "M27", true},
	"idle_off":      {query, "M84 S{s}", true},
	"absolute":      {query, "G90", false},
	"home":          {motion, "G28", false},
	"touch":         {motion, "G30 X{x} Y{y}", true},
	"probe_down":    {motion, "G38.2 Z{z} F{feed}", true},
	"move_xy":       {motion, "G1 X{x} Y{y} F{feed}", false},
	"move_z":        {motion, "G1 Z{z} F{feed}", false},
	"heat_nozzle":   {motion, "M104 S{c}", true},
	"heat_bed":      {motion, "M140 S{c}", true},
}

// groups are the named groups that a pattern of this key must have.
var groups = map[string][]string{
	"touch":     {"x", "y", "z"},
	"position":  {"x", "y", "z"},
	"lever":     {"x", "y", "z"},
	"limits":    {"x0", "y0", "z0", "x1", "y1", "z1"},
	"printing":  {"done", "total"},
	"levelling": {"state"},
	"request":   nil,
}

// Default returns the words of printers that touch with a word of their own.
func Default() Words {
	w := Words{Templates: map[string]string{}, Patterns: map[string]string{}}
	for k, f := range forms {
		w.Templates[k] = f.word
	}
	for k := range groups {
		w.Patterns[k] = ""
	}
	return w
}

// Straight returns the words of machines that only probe straight down: the
// head is moved over the place and then probes (RS-274/NGC, G38.2).
func Straight() Words {
	w := Default()
	w.Templates["touch"] = ""
	return w
}

// over returns w laid over the defaults.
func (w Words) over(d Words) Words {
	maps.Copy(d.Templates, w.Templates)
	maps.Copy(d.Patterns, w.Patterns)
	return d
}

// firstWord returns the word of a template, without numbers: "M851".
func firstWord(template string) string {
	word, _, _ := strings.Cut(template, " ")
	return strings.ToUpper(word)
}
