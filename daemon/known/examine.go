package known

import (
	"context"
	"fmt"
	"strings"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/dialect"
)

// Heard is one question and what the printer said to it.
type Heard struct {
	Asked string   `json:"asked"`
	Said  []string `json:"said"`
	reply gcode.Reply
}

// Examination is what a printer answered, and what can be made of it.
type Examination struct {
	Facts     link.Facts
	Heard     []Heard
	Proposals []Proposal
	// guess is Facts with what the proposals would make known.
	guess link.Facts
}

// Examine asks a printer everything that a run and the page want to know,
// without a daemon, then tries the known shapes on what was not understood, and
// proposes settings. It moves nothing and changes nothing. An error means that
// the line failed.
func Examine(ctx context.Context, line link.Asker, s config.Settings) (Examination, error) {
	words, err := Words(s)
	if err != nil {
		return Examination{}, err
	}
	ear := &ear{line: line}
	e := Examination{}
	e.Facts, err = link.Identify(ctx, ear, words, s.Port)
	e.guess = e.Facts
	if err == nil && len(e.Facts.Map) == 0 {
		err = e.otherMap(ctx, ear, s)
	}
	e.Heard = ear.heard
	if err != nil {
		return e, err
	}
	e.propose(s, words)
	return e, nil
}

// otherMap asks for the stored map by the same word with its value written out.
func (e *Examination) otherMap(ctx context.Context, ear *ear, s config.Settings) error {
	const other = "M420 V1"
	if _, own := s.Words.Templates["map"]; own {
		return nil // the owner knows better
	}
	words, err := wordsWith(s, "templates.map", other)
	if err != nil {
		return err
	}
	var f link.Facts
	if err := f.Stored(func(q gcode.Query) (gcode.Reply, error) { return ear.Ask(ctx, q) }, words); err != nil {
		return err
	}
	if len(f.Map) > 0 {
		e.guess.Map = f.Map
		e.add(Proposal{Key: "words.templates.map", Value: quoted(other), Sure: true,
			Why: "the bed map is printed when it is asked for like this", Said: firstLines(ear.heard[len(ear.heard)-1].Said)})
	}
	return nil
}

// wordsWith is Words with one template or pattern replaced: "patterns.lever".
func wordsWith(s config.Settings, key, text string) (*dialect.Dialect, error) {
	group, name, _ := strings.Cut(key, ".")
	t, p := map[string]string{}, map[string]string{}
	for k, v := range s.Words.Templates {
		t[k] = v
	}
	for k, v := range s.Words.Patterns {
		p[k] = v
	}
	switch group {
	case "templates":
		t[name] = text
	case "patterns":
		p[name] = text
	default:
		panic(fmt.Sprintf("known: no words %q", key))
	}
	s.Words = config.Words{Templates: t, Patterns: p}
	return Words(s)
}

// ear asks, and remembers what was said.
type ear struct {
	line  link.Asker
	heard []Heard
}

// Ask implements asker. A question to a printer that has no such word is not
// sent, and not remembered.
func (e *ear) Ask(ctx context.Context, q gcode.Query) (gcode.Reply, error) {
	r, err := e.line.Ask(ctx, q)
	if q.Text() == "" {
		return r, err
	}
	h := Heard{Asked: q.Text(), Said: []string{}, reply: r}
	for _, l := range r.Lines {
		h.Said = append(h.Said, l.Text)
	}
	if t := r.OK.Text; t != "" && !strings.EqualFold(strings.TrimSpace(t), "ok") {
		h.Said = append(h.Said, t)
	}
	e.heard = append(e.heard, h)
	return r, err
}

// Examined says what is known of a printer that answered with facts, and which
// steps could be done, as a daemon with these settings would.
func Examined(s config.Settings, f link.Facts) api.Printer {
	k := Of(s, &f, nil)
	l := link.State{Link: api.Ready, Text: "The printer answers.", Facts: &f}
	p := api.Printer{
		Name: NameOf(s),
		Link: api.Ready, Sentence: l.Text, Port: s.Port, ID: f.Identity.ID, Identity: f.Identity.Fields,
		Todo: []api.Todo{}, Owed: []string{}, Steps: Steps(k, l),
	}
	k.Show(&p)
	return p
}
