package config

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
)

// fromText reads the field's value from a text of the environment or of a flag.
func (f Field) fromText(text string) (any, error) { return f.read(strings.TrimSpace(text)) }

// read reads the field's value from a text as it stands.
func (f Field) read(text string) (any, error) {
	switch f.at(new(Settings)).(type) {
	case *string:
		return text, nil
	case *bool:
		return boolean(text)
	case *int:
		return whole(text)
	case *float64, **float64:
		return decimal(text)
	case *time.Duration:
		return duration(text)
	case **Rect:
		return rect(numbers(text, 4))
	case **XY:
		return pair(numbers(text, 2))
	}
	return f.named(text)
}

// named reads texts by name, written as a YAML mapping in one line.
func (f Field) named(text string) (any, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil || len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, errors.New(`is not a mapping such as {name: "text"}`)
	}
	out := map[string]string{}
	for c := doc.Content[0].Content; len(c) > 1; c = c[2:] {
		if c[1].Kind != yaml.ScalarNode || c[1].Tag != "!!str" {
			return nil, fmt.Errorf("%s is not a text", quote(c[0].Value))
		}
		if _, twice := out[c[0].Value]; twice {
			return nil, fmt.Errorf("%s is there twice", quote(c[0].Value))
		}
		out[c[0].Value] = c[1].Value
	}
	return out, nil
}

// fromNode reads the field's value from the file; nothing changes its type
// there, save that a whole number may stand for a number.
func (f Field) fromNode(n *yaml.Node) (any, error) {
	tags := []string{"!!str"}
	switch f.at(new(Settings)).(type) {
	case *bool:
		tags = []string{"!!bool"}
	case *int:
		tags = []string{"!!int"}
	case *float64, **float64:
		tags = []string{"!!float", "!!int"}
	case **Rect:
		return rect(list(n, 4))
	case **XY:
		return pair(list(n, 2))
	}
	text, err := scalar(n, tags...)
	if err != nil {
		return nil, err
	}
	if tags[0] == "!!bool" { // YAML has True and TRUE too
		text = strings.ToLower(text)
	}
	return f.read(text)
}

// scalar returns the text of a scalar that has one of the tags.
func scalar(n *yaml.Node, tags ...string) (string, error) {
	if n.Kind != yaml.ScalarNode {
		return "", errors.New("is not a single value")
	}
	for _, t := range tags {
		if n.Tag == t {
			return n.Value, nil
		}
	}
	kind := map[string]string{"!!str": "a text", "!!int": "a whole number", "!!float": "a number with a point", "!!bool": "true or false",
		"!!timestamp": "a date", "!!null": "empty"}[n.Tag]
	if kind == "" {
		kind = "of a kind that is not used here (" + n.Tag + ")"
	}
	return "", fmt.Errorf("is %s", kind)
}

// list returns n numbers, from a list or from a text with commas.
func list(n *yaml.Node, count int) ([]float64, error) {
	if n.Kind == yaml.ScalarNode && n.Tag == "!!str" {
		return numbers(n.Value, count)
	}
	if n.Kind != yaml.SequenceNode || len(n.Content) != count {
		return nil, fmt.Errorf("is not a list of %d numbers", count)
	}
	out := make([]float64, count)
	for i, c := range n.Content {
		text, err := scalar(c, "!!float", "!!int")
		if err != nil {
			return nil, fmt.Errorf("entry %d %w", i+1, err)
		}
		if out[i], err = decimal(text); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func rect(v []float64, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	return Rect{X0: v[0], Y0: v[1], X1: v[2], Y1: v[3]}, nil
}

func pair(v []float64, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	return XY{v[0], v[1]}, nil
}

func boolean(text string) (any, error) {
	switch text {
	case "true":
		return true, nil
	case "false":
		return false, nil
	}
	return nil, errors.New("is neither true nor false")
}

func whole(text string) (any, error) {
	n, err := strconv.Atoi(text)
	switch {
	case err == nil:
		return n, nil
	case errors.Is(err, strconv.ErrRange):
		return nil, errors.New("is larger than any number here")
	}
	return nil, errors.New("is not a whole number")
}

func duration(text string) (any, error) {
	d, err := time.ParseDuration(text)
	switch {
	case err == nil:
		return d, nil
	case durationShape.MatchString(text):
		return nil, errors.New("is longer than any time here")
	}
	return nil, errors.New("is not a duration with a unit, such as 10s or 5m")
}

// durationShape is what a number with a unit of time looks like.
var durationShape = regexp.MustCompile(`^-?(\d+(\.\d*)?(ns|us|ms|s|m|h))+$`)
