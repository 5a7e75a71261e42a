package setup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"abbed/config"
	"abbed/daemon/known"
)

// ask asks one thing until the answer fits; an empty answer is otherwise.
// A signal that ends the program ends the question too.
func (s *Setup) ask(question, otherwise string, fits func(string) error) (string, error) {
	for {
		fmt.Fprint(s.Errs, question)
		if otherwise != "" {
			fmt.Fprintf(s.Errs, " [%s]", otherwise)
		}
		fmt.Fprint(s.Errs, " ")
		text, err := s.answer()
		if err != nil && !(errors.Is(err, io.EOF) && text != "") {
			return "", fmt.Errorf("setup: not done, nothing was written: %w", err)
		}
		if text = strings.TrimSpace(text); text == "" {
			text = otherwise
		}
		if err := fits(text); err != nil {
			fmt.Fprintf(s.Errs, "  That %v.\n", err)
			continue
		}
		return text, nil
	}
}

// answer reads one line, or ends with the program. What is still being read then is left behind:
// the program ends, and nothing else reads.
func (s *Setup) answer() (string, error) {
	type line struct {
		text string
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := s.In.ReadString('\n')
		read <- line{text, err}
	}()
	select {
	case l := <-read:
		return l.text, l.err
	case <-s.ends:
		fmt.Fprintln(s.Errs)
		return "", errors.New("the program was told to end")
	}
}

// yes asks for a yes or a no.
func (s *Setup) yes(question string, otherwise bool) (bool, error) {
	def := map[bool]string{true: "yes", false: "no"}[otherwise]
	text, err := s.ask(question+" yes or no", def, func(t string) error {
		if !strings.Contains("|yes|y|no|n|", "|"+strings.ToLower(t)+"|") || t == "" {
			return errors.New("is neither yes nor no")
		}
		return nil
	})
	return strings.HasPrefix(strings.ToLower(text), "y"), err
}

// asked are the questions that no printer answers, or that this one did not; the
// last word of each is what leaving it open costs.
var asked = map[string]string{
	"bed":      "Where are the edges of the bed, in the nozzle's coordinates, mm? X0,Y0,X1,Y1, such as 0,0,220,220",
	"map_area": "Where does the bed map have its first and last column and row, mm? X0,Y0,X1,Y1; see the printer's manual or settings. Empty: not known now (then everything works but a correction)",
	"zero_at":  "Where did you set the Z offset, mm? X,Y. Empty: in the middle of the bed",
	"lever":    "The printer does not say how far the probe is from the nozzle. Measure it, mm: X,Y, + to the right and to the back. Empty: not known now",
	"trigger":  "The printer does not say how high the nozzle is when the probe triggers, mm. 0 if the nozzle is the probe. Empty: not known now",
	"travel":   "The printer does not say how far the nozzle can go, mm: X0,Y0,X1,Y1 (its travel, not the bed). Empty: not known now",
}

// askOwner settles what the printer did not: flags first, then what doctor
// proposes, then the person's answers.
func (s *Setup) askOwner(context.Context) error {
	s.takeFlags()
	proposals := s.found.Proposals
	if s.Untried {
		proposals = s.unasked()
	}
	for _, p := range proposals {
		if err := s.settle(p); err != nil {
			return err
		}
	}
	return s.askLayout()
}

// unasked is what has to be asked when the printer was not.
func (s *Setup) unasked() (out []known.Proposal) {
	for _, p := range []known.Proposal{
		{Key: "bed", Value: "[0, 0, 220, 220]", Why: "where the bed's edges are in the nozzle's coordinates; no printer tells it"},
		{Key: "map_area", Value: "[0, 0, 220, 220]", Why: "where the bed map has its first and last columns and rows"},
		{Key: "zero_at", Value: "[110, 110]", Why: "where the Z offset was set, if not in the middle of the bed"},
	} {
		if s.given.Given[p.Key] == "" {
			out = append(out, p)
		}
	}
	return out
}

// takeFlags writes down what flags (or the environment) have set.
func (s *Setup) takeFlags() {
	for key, text := range config.Texts(s.given) {
		if _, done := s.lines[key]; !done {
			s.lines[key] = config.Line{YAML: text, Why: "it was given at set-up"}
		}
	}
}

// settle turns one proposal of doctor into a line of the file.
func (s *Setup) settle(p known.Proposal) error {
	if p.Key == "zero_at" && !s.Asks {
		return nil // the middle of the bed is what most people use
	}
	if p.Key == "port" || s.lines[p.Key].YAML != "" {
		return nil
	}
	if p.Sure && !strings.HasPrefix(p.Key, "words.patterns.") {
		s.lines[p.Key] = config.Line{YAML: p.Value, Why: p.Why}
		return nil
	}
	if !s.Asks {
		return s.leave(p)
	}
	question, plain := asked[p.Key]
	if !plain {
		return s.confirm(p)
	}
	text, err := s.ask(question+":", "", func(t string) error {
		if t == "" && p.Key != "bed" { // which may not be left empty
			return nil
		}
		_, err := config.YAML(p.Key, t)
		return err
	})
	switch {
	case err != nil:
		return err
	case text == "" && p.Key == "zero_at":
		return nil // the default
	case text == "":
		return s.leave(p)
	}
	s.lines[p.Key] = config.Line{YAML: quotedYAML(p.Key, text), Why: "you said so at set-up"}
	return nil
}

// leave leaves a proposal in the file as a comment.
func (s *Setup) leave(p known.Proposal) error {
	if p.Key == "probe.style" && s.Asks {
		return nil // the person said no
	}
	s.lines[p.Key] = config.Line{YAML: p.Value, Why: p.Why + "; this is only an example: look at it, then take the # away", Doubt: true}
	s.Done.Open = append(s.Done.Open, p.Key)
	return nil
}

// confirm shows what was made of an answer of the printer, or might be.
func (s *Setup) confirm(p known.Proposal) error {
	for _, said := range p.Said {
		fmt.Fprintf(s.Errs, "The printer said: %q\n", said)
	}
	yes, err := s.yes(fmt.Sprintf("%s: %s?\n(%s.)", p.Key, p.Value, p.Why), false)
	if err != nil {
		return err
	}
	if !yes {
		return s.leave(p)
	}
	s.lines[p.Key] = config.Line{YAML: p.Value, Why: p.Why + "; you found it right at set-up"}
	return nil
}

// askLayout asks what carries the Y axis, unless it was given.
func (s *Setup) askLayout() error {
	if !s.Asks || s.lines["layout"].YAML != "" {
		return nil
	}
	text, err := s.ask("What moves from front to back: the bed (1), or the beam with the head on side rails (2)?", "1.", func(t string) error {
		if t != "1" && t != "2" {
			return errors.New("is neither 1 nor 2")
		}
		return nil
	})
	layout := map[string]string{"1": config.MovingBed, "2": config.MovingGantry}[text]
	if err == nil {
		s.lines["layout"] = config.Line{YAML: quotedYAML("layout", layout), Why: "you said so at set-up"}
	}
	return err
}
