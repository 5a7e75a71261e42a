package client

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"abbed/daemon/api"
)

// ErrOver says that a run ended before what was waited for.
var ErrOver = errors.New("the run is over")

// Events follows a run: each calls with every state that comes. It returns nil
// when the run is over, the error of each, or that of ctx. A connection that
// breaks is made again from where it broke, for as long as ctx lasts; a refusal
// ends it.
func (c *Client) Events(ctx context.Context, id string, each func(api.Run) error) error {
	f := follower{client: c, id: id, each: each}
	for wait := 100 * time.Millisecond; ; wait = min(2*wait, 5*time.Second) {
		before := f.last
		err := f.once(ctx)
		var refused *api.Error
		switch {
		case ctx.Err() != nil:
			return fmt.Errorf("client: events of run %s: %w", id, context.Cause(ctx))
		case f.over || f.stopped != nil:
			return f.stopped
		case errors.As(err, &refused) && refused.RetryAfter == 0:
			return err
		}
		if f.last != before {
			wait = 100 * time.Millisecond
		}
		_ = pause(ctx, wait)
	}
}

// Wait follows a run until it is so, and returns it then. If the run ends
// before, it returns its last state and ErrOver, with the run's own error if it
// has one.
func (c *Client) Wait(ctx context.Context, id string, so func(api.Run) bool) (api.Run, error) {
	var last api.Run
	found := errors.New("found")
	err := c.Events(ctx, id, func(r api.Run) error {
		last = r
		if so(r) {
			return found
		}
		return nil
	})
	switch {
	case errors.Is(err, found):
		return last, nil
	case err != nil:
		return last, err
	case last.Error != nil:
		return last, fmt.Errorf("client: wait for run %s: %w, %s: %w", id, ErrOver, last.State, last.Error)
	default:
		return last, fmt.Errorf("client: wait for run %s: %w, %s", id, ErrOver, last.State)
	}
}

// Is returns a condition for Wait: the run is in one of the states.
func Is(states ...api.State) func(api.Run) bool {
	return func(r api.Run) bool {
		for _, s := range states {
			if r.State == s {
				return true
			}
		}
		return false
	}
}

// Over is a condition for Wait: the run has ended.
func Over(r api.Run) bool { return r.State.Over() }

// follower reads the stream of one run over as many connections as it takes.
type follower struct {
	client *Client
	id     string
	each   func(api.Run) error
	// last is the id of the last event.
	last string
	// over says that the run ended, stopped what each returned.
	over    bool
	stopped error
}

// once reads one connection to its end.
func (f *follower) once(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // each may leave in the middle of the stream
	res, err := f.client.send(ctx, http.MethodGet, "/api/v1/runs/"+url.PathEscape(f.id)+"/events", nil, f.last)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode == http.StatusNoContent {
		f.over = true
		return nil
	}
	return f.read(bufio.NewReader(res.Body))
}

// read takes the events apart: fields of a name, a colon and a value, ended by
// an empty line; a line that begins with a colon is a comment (HTML Living
// Standard 9.2.6).
func (f *follower) read(r *bufio.Reader) error {
	var id string
	var data []string
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		line = strings.TrimRight(line, "\r\n")
		name, value, _ := strings.Cut(line, ":")
		value = strings.TrimPrefix(value, " ")
		switch {
		case line == "" && data != nil:
			if err := f.event(id, strings.Join(data, "\n")); err != nil || f.over {
				return err
			}
			data = nil
		case name == "id":
			id = value
		case name == "data":
			data = append(data, value)
		}
	}
}

// event hands one state on.
func (f *follower) event(id, data string) error {
	var r api.Run
	if err := json.Unmarshal([]byte(data), &r); err != nil {
		return fmt.Errorf("client: events of run %s: %w", f.id, err)
	}
	f.last = id
	if f.stopped = f.each(r); f.stopped != nil {
		return f.stopped
	}
	f.over = r.State.Over()
	return nil
}
