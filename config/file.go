package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"

	"abbed/config/outside"
)

// mostFile bounds a settings file, bytes; the example has about 15 kB.
const mostFile = 1 << 20

// layer is what one source sets: typed values by key, and where each stood.
type layer struct {
	values map[string]any
	source map[string]string
	faults []Fault
}

func newLayer() *layer { return &layer{values: map[string]any{}, source: map[string]string{}} }

func (l *layer) set(key, source string, value any) {
	l.values[key], l.source[key] = value, source
}

// fault notes a fault. Keys, names and what a reader says of them come from outside,
// and go to a terminal.
func (l *layer) fault(source, field, value, hint string) {
	l.faults = append(l.faults, Fault{Source: outside.Text(source), Field: outside.Text(field), Value: outside.Text(value), Hint: outside.Text(hint)})
}

func readFile(name string) ([]byte, error) { return outside.Read(name, mostFile) }

// parseFile reads a settings file; name is for the messages only.
func parseFile(name string, b []byte) *layer {
	l := newLayer()
	dec := yaml.NewDecoder(bytes.NewReader(b))
	var doc, more yaml.Node
	err := dec.Decode(&doc)
	if errors.Is(err, io.EOF) {
		return l
	}
	if err == nil && dec.Decode(&more) != io.EOF {
		err = errors.New("holds more than one document; keep one")
	}
	if err != nil {
		l.fault(name, "YAML", "", strings.TrimPrefix(err.Error(), "yaml: "))
		return l
	}
	l.mapping(name, "", doc.Content[0])
	return l
}

// mapping walks a mapping of the file; prefix is its own key.
func (l *layer) mapping(name, prefix string, n *yaml.Node) {
	at := func(n *yaml.Node) string { return fmt.Sprintf("%s:%d", name, n.Line) }
	if isNull(n) {
		return
	}
	if n.Kind != yaml.MappingNode {
		l.fault(at(n), prefix, brief(n), "needs keys with values, each on its own line: key: value")
		return
	}
	seen := map[string]bool{}
	for c := n.Content; len(c) > 1; c = c[2:] {
		key := c[0].Value
		if prefix != "" {
			key = prefix + "." + key
		}
		if seen[key] {
			l.fault(at(c[0]), key, "", "is there twice; keep one")
			continue
		}
		seen[key] = true
		l.entry(at(c[0]), name, key, c[1])
	}
}

// entry takes one key of the file.
func (l *layer) entry(at, name, key string, n *yaml.Node) {
	if group(key) {
		l.mapping(name, key, n)
		return
	}
	f, ok := find(key)
	if !ok {
		if parent, leaf, cut := cutLast(key); cut && byName(parent) {
			l.namedEntry(at, parent, leaf, n)
			return
		}
		l.fault(at, key, "", unknown(key))
		return
	}
	if byName(key) {
		l.mapping(name, key, n)
		return
	}
	if isNull(n) {
		return
	}
	v, err := f.fromNode(n)
	if err != nil {
		l.fault(at, key, brief(n), err.Error()+"; "+f.hint())
		return
	}
	l.set(key, at, v)
}

// nameShape is what the name of a template or pattern looks like.
var nameShape = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,63}$`)

// namedEntry takes one template or pattern.
func (l *layer) namedEntry(at, parent, name string, n *yaml.Node) {
	key := parent + "." + name
	if !nameShape.MatchString(name) {
		l.fault(at, key, "", "needs a name of small letters, digits, - and _")
		return
	}
	if isNull(n) {
		return
	}
	text, err := scalar(n, "!!str")
	if err != nil {
		l.fault(at, key, brief(n), err.Error()+"; needs a text in quotes")
		return
	}
	l.set(key, at, text)
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

// brief shows a node of the file in a message.
func brief(n *yaml.Node) string {
	switch n.Kind {
	case yaml.ScalarNode:
		if n.Tag == "!!str" {
			return quote(n.Value)
		}
		return strings.Trim(quote(n.Value), `"`)
	case yaml.SequenceNode:
		return fmt.Sprintf("a list of %d", len(n.Content))
	case yaml.MappingNode:
		return "a mapping"
	case yaml.AliasNode:
		return "an alias (*" + n.Value + "), which is not used here"
	}
	return ""
}
