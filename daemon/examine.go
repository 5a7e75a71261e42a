package daemon

import (
	"context"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode"
	"abbed/gcode/dialect"
)

// Identify asks a printer everything that a run and the page want to know,
// without a daemon. It moves nothing and changes nothing.
func Identify(ctx context.Context, sess *gcode.Session, words *dialect.Dialect, port string) (Facts, error) {
	return identify(ctx, sess, words, port)
}

// Examined says what is known of a printer that answered with facts, and which
// steps could be done, as a daemon with these settings would.
func Examined(s config.Settings, f Facts) api.Printer {
	k := know(s, &f, nil)
	l := linkState{state: api.Ready, text: "The printer answers.", facts: &f}
	p := api.Printer{
		Link: api.Ready, Sentence: l.text, Port: s.Port, ID: f.Identity.ID, Identity: f.Identity.Fields,
		Owed: []string{}, Steps: steps(k, l),
	}
	k.show(&p)
	return p
}
