package apply

import (
	"context"
	"errors"
	"strings"

	"abbed/gcode"
	"abbed/probe/record"
)

// keepTries is how often the printer is asked to keep the map at most.
const keepTries = 4

// keep has the printer keep what is in force. No word reads what is kept, and a
// refusal is a sentence like another; so it is asked until two answers in a row
// are alike. A command that was lost, or refused once, is then not taken for
// consent. A printer that always refuses shows it at its next restart only.
func (w Writer) keep(ctx context.Context) error {
	var last gcode.Reply
	for k := range keepTries {
		r, err := w.Line.Ask(ctx, w.Words.Keep())
		if err != nil {
			return fail(err, "keep-refused", "see what the printer says", "have the printer keep the map")
		}
		for _, l := range r.Lines {
			if l.Kind == gcode.Fault {
				return fail(nil, "keep-refused", "see what the printer says", "have the printer keep the map: it answers %q", l.Text)
			}
		}
		if k > 0 && alike(last, r) {
			return nil
		}
		last = r
	}
	return fail(nil, "keep-unsure", "see what the printer says when it is asked to keep its settings", "have the printer keep the map: it answers otherwise each time")
}

// atKeeping reports whether it was keeping that failed: what the printer keeps is
// then not known.
func atKeeping(err error) bool {
	var e *record.Problem
	return errors.As(err, &e) && strings.HasPrefix(e.Code, "keep-")
}

// alike reports whether two answers, both heard to their ok, have a sentence in
// common, numbers apart, or have none at all.
func alike(a, b gcode.Reply) bool {
	if a.OK.Kind != gcode.OK || b.OK.Kind != gcode.OK {
		return false
	}
	x, y := sentences(a), sentences(b)
	for s := range x {
		if y[s] {
			return true
		}
	}
	return len(x) == 0 && len(y) == 0
}

// sentences are the lines of an answer without digits.
func sentences(r gcode.Reply) map[string]bool {
	out := map[string]bool{}
	for _, l := range r.Lines {
		if l.Kind == gcode.Report || l.Kind == gcode.Echo || l.Kind == gcode.Comment {
			out[strings.Map(func(c rune) rune {
				if c >= '0' && c <= '9' {
					return -1
				}
				return c
			}, l.Text)] = true
		}
	}
	return out
}
