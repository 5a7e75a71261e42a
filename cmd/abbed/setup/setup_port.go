package setup

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/gcode/port"
)

// choosePort takes the port that was given, else the only adapter, else asks.
func (s *Setup) choosePort(context.Context) error {
	all := s.Plugs()
	if s.given.Port == "" && len(all) == 1 {
		s.given.Port = all[0].Device
	}
	if s.given.Port == "" {
		if err := s.askPort(all); err != nil {
			return err
		}
	}
	s.port(all)
	return nil
}

func (s *Setup) askPort(all []port.Adapter) error {
	if !s.Asks {
		text := "no serial adapter is plugged in"
		if len(all) > 0 {
			text = fmt.Sprintf("%d serial adapters are plugged in", len(all))
		}
		return console.Usage(fmt.Errorf("setup: %s; say which with --port: a device, a pseudo-terminal or tcp://host:port", text))
	}
	fmt.Fprintln(s.Errs, "Which serial adapter leads to the printer?")
	for i, a := range all {
		fmt.Fprintf(s.Errs, "  %d  %s\n", i+1, a)
	}
	text, err := s.ask("A number of these, the name of a device, or tcp://host:port:", "", func(t string) error {
		if pick(all, t) == "" {
			return errors.New("is none of these")
		}
		return nil
	})
	s.given.Port = pick(all, text)
	return err
}

// pick returns the port of an answer, or "".
func pick(all []port.Adapter, text string) string {
	for i, a := range all {
		if text == fmt.Sprint(i+1) {
			return a.Device
		}
	}
	if strings.HasPrefix(text, "/") || strings.HasPrefix(text, "tcp://") {
		return text
	}
	return ""
}

// port settles the name by which the adapter is found again, and the rule for it.
func (s *Setup) port(all []port.Adapter) {
	name, why := s.given.Port, "it was given"
	adapter := adapterOf(all, s.given.Port)
	if adapter == nil {
		s.Done.Rule = "" // there is nothing that a rule could know it by
	} else {
		link, stays := adapter.Stable()
		name, why = link, "this name stays the same when the adapter is plugged in again"
		if stays {
			why = "the adapter has no number of its own: this name belongs to the socket it is plugged into"
		}
		if s.Done.Rule != "" {
			name = "/dev/abbed/" + s.Name
			why += "; the rule in " + s.Done.Rule + " gives it"
		}
	}
	s.Done.Port = name
	s.lines["port"] = config.Line{YAML: quotedYAML("port", name), Why: why}
}

// adapterOf finds the adapter that a name leads to.
func adapterOf(all []port.Adapter, name string) *port.Adapter {
	for i, a := range all {
		if name == a.Device || name == a.ByID || name == a.ByPath {
			return &all[i]
		}
	}
	return nil
}

// quotedYAML writes a text that is known to fit.
func quotedYAML(key, text string) string {
	y, err := config.YAML(key, text)
	if err != nil {
		panic("setup: " + err.Error())
	}
	return y
}
