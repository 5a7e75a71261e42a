package client

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"strings"

	"abbed/daemon/access"
	"abbed/daemon/api"
)

// of makes a client, with a function for each verb of the API: it writes the path, sends
// the question and reads the answer.
func of(base, token string, by *http.Client) *Client {
	c := &Client{base: base, token: token, http: by}
	for i, v := range api.VerbTable() {
		f := reflect.ValueOf(&c.Verbs).Elem().Field(i)
		f.Set(reflect.MakeFunc(f.Type(), func(args []reflect.Value) []reflect.Value { return c.ask(v, f.Type(), args) }))
	}
	return c
}

// ask asks a verb as a function of type t: a context, what stands in the path, the question.
func (c *Client) ask(v api.Verb, t reflect.Type, args []reflect.Value) []reflect.Value {
	path := v.Path
	for i, name := range v.Params {
		path = strings.ReplaceAll(path, "{"+name+"}", url.PathEscape(args[1+i].String()))
	}
	var body any
	switch question := args[len(args)-1].Interface(); {
	case v.Query:
		path = strings.TrimSuffix(path+"?"+api.QueryOf(question), "?")
	case v.In != nil:
		body = question
	}
	b, err := c.do(args[0].Interface().(context.Context), v.Method, path, body)
	var out []reflect.Value
	if t.NumOut() > 1 {
		answer := reflect.New(t.Out(0))
		if err == nil {
			err = decode(v.Method, path, b, answer.Interface())
		}
		out = append(out, answer.Elem())
	}
	return append(out, reflect.ValueOf(&err).Elem())
}

// decode reads an answer into v.
func decode(method, path string, b []byte, v any) error {
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("client: %s %s: the answer is not what the API promises: %w", method, path, err)
	}
	return nil
}

// Open gives the person's word that opening the port may reset the board.
func (c *Client) Open(ctx context.Context, person string) error {
	return c.OpenPort(ctx, api.Open{Person: person})
}

// StartRun asks for a run of steps; it waits for its cautions to be confirmed.
func (c *Client) StartRun(ctx context.Context, steps ...string) (api.Run, error) {
	return c.Start(ctx, api.NewRun{Steps: steps})
}

// Start asks for a run with all that may go with it: heat, or the word that
// somebody stands at the machine.
func (c *Client) Start(ctx context.Context, n api.NewRun) (api.Run, error) {
	return c.Verbs.StartRun(ctx, n)
}

// Gap returns the predicted gap error at points (u, v), mm, one for each.
func (c *Client) Gap(ctx context.Context, id string, points [][2]float64) ([]api.Gap, error) {
	return c.Verbs.Gap(ctx, id, api.AskGap{Points: points})
}

// Apply begins to write a table that was approved.
func (c *Client) Apply(ctx context.Context, digest, token string) error {
	return c.Verbs.Apply(ctx, digest, api.Apply{Token: token})
}

// Resolve decides what becomes of an apply that was cut off: "finish" or
// "take-back".
func (c *Client) Resolve(ctx context.Context, choice string) error {
	return c.Verbs.Resolve(ctx, api.Resolve{Choice: choice})
}

// Stop asks for a stop of whatever goes on. It is no emergency stop.
func (c *Client) Stop(ctx context.Context) (api.StopAnswer, error) {
	return c.Verbs.Stop(ctx, api.AskStop{})
}

// Paired is a one-time link for a browser.
type Paired = access.Paired

// Pair asks for a one-time link that lets a browser in: to look, operate or
// sign; "" is sign.
func (c *Client) Pair(ctx context.Context, role string) (p Paired, err error) {
	b, err := c.do(ctx, "POST", "/api/v1/pair", map[string]string{"role": role})
	if err == nil {
		err = decode("POST", "/api/v1/pair", b, &p)
	}
	return p, err
}

// Session is a browser that is let in.
type Session = access.Session

// Sessions returns the browsers that are let in.
func (c *Client) Sessions(ctx context.Context) (all []Session, err error) {
	b, err := c.do(ctx, "GET", "/api/v1/sessions", nil)
	if err == nil {
		err = decode("GET", "/api/v1/sessions", b, &all)
	}
	return all, err
}

// EndSession ends a session at once.
func (c *Client) EndSession(ctx context.Context, id string) error {
	_, err := c.do(ctx, "DELETE", "/api/v1/sessions/"+url.PathEscape(id), nil)
	return err
}
