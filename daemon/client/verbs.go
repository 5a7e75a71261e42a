package client

import (
	"context"
	"net/url"
	"strconv"
	"strings"

	"abbed/daemon/access"
	"abbed/daemon/api"
)

// Printer returns what is known of the printer.
func (c *Client) Printer(ctx context.Context) (api.Printer, error) {
	return get[api.Printer](ctx, c, "/api/v1/printer")
}

// Check says when the next quick check is due.
func (c *Client) Check(ctx context.Context) (api.Check, error) {
	return get[api.Check](ctx, c, "/api/v1/check")
}

// Room lists the printers that are known to the daemon's machine.
func (c *Client) Room(ctx context.Context) ([]api.Neighbour, error) {
	return get[[]api.Neighbour](ctx, c, "/api/v1/room")
}

// Open gives the person's word that opening the port may reset the board.
func (c *Client) Open(ctx context.Context, person string) error {
	_, err := c.do(ctx, "POST", "/api/v1/printer/open", api.Open{Person: person})
	return err
}

// StartRun asks for a run of steps; it waits for its cautions to be confirmed.
func (c *Client) StartRun(ctx context.Context, steps ...string) (api.Run, error) {
	return post[api.Run](ctx, c, "/api/v1/runs", api.NewRun{Steps: steps})
}

// Start asks for a run with all that may go with it: heat, or the word that
// somebody stands at the machine.
func (c *Client) Start(ctx context.Context, n api.NewRun) (api.Run, error) {
	return post[api.Run](ctx, c, "/api/v1/runs", n)
}

// Withdraw ends a run that nobody has confirmed; nothing goes to the printer.
func (c *Client) Withdraw(ctx context.Context, id string) error {
	_, err := c.do(ctx, "POST", run(id, "/withdraw"), nil)
	return err
}

// Confirm gives a person's word on the cautions of a run.
func (c *Client) Confirm(ctx context.Context, id string, how api.Confirm) error {
	_, err := c.do(ctx, "POST", run(id, "/confirm"), how)
	return err
}

// Runs returns all runs, newest first.
func (c *Client) Runs(ctx context.Context) ([]api.Run, error) {
	return get[[]api.Run](ctx, c, "/api/v1/runs")
}

// Run returns the state of a run.
func (c *Client) Run(ctx context.Context, id string) (api.Run, error) {
	return get[api.Run](ctx, c, run(id, ""))
}

// Answer answers the prompt of a run.
func (c *Client) Answer(ctx context.Context, id string, a api.AnswerPrompt) error {
	_, err := c.do(ctx, "POST", run(id, "/answer"), a)
	return err
}

// Gauge says what the person feels at the gauge; it returns when the move has ended.
func (c *Client) Gauge(ctx context.Context, id string, a api.GaugeAction) (api.Run, error) {
	return post[api.Run](ctx, c, run(id, "/gauge"), a)
}

// Record returns everything that was recorded in a run: the JSON of a
// record.Run.
func (c *Client) Record(ctx context.Context, id string) (api.Record, error) {
	b, err := c.do(ctx, "GET", run(id, "/record"), nil)
	return api.Record(b), err
}

// Analysis returns what a run tells.
func (c *Client) Analysis(ctx context.Context, id string) (api.Analysis, error) {
	return get[api.Analysis](ctx, c, run(id, "/analysis"))
}

// Gap returns the predicted gap error at points (u, v), mm, one for each.
func (c *Client) Gap(ctx context.Context, id string, points [][2]float64) ([]api.Gap, error) {
	return post[[]api.Gap](ctx, c, run(id, "/gap"), api.AskGap{Points: points})
}

// Table returns the correction of a run, or why there is none.
func (c *Client) Table(ctx context.Context, id string) (api.Table, error) {
	return get[api.Table](ctx, c, run(id, "/table"))
}

// SignOff gives a person's word on the cautions of one exact table.
func (c *Client) SignOff(ctx context.Context, digest string, how api.SignOff) (api.SignedOff, error) {
	return post[api.SignedOff](ctx, c, table(digest, "/signoff"), how)
}

// Apply begins to write a table that was signed off.
func (c *Client) Apply(ctx context.Context, digest, token string) error {
	_, err := c.do(ctx, "POST", table(digest, "/apply"), api.Apply{Token: token})
	return err
}

// Applied returns what stands in the printer.
func (c *Client) Applied(ctx context.Context) (api.Applied, error) {
	return get[api.Applied](ctx, c, "/api/v1/applied")
}

// Undo begins to put the map back that stood there before.
func (c *Client) Undo(ctx context.Context) error {
	_, err := c.do(ctx, "POST", "/api/v1/applied/undo", nil)
	return err
}

// Prove opens a run that gauges the nozzle with the correction in force.
func (c *Client) Prove(ctx context.Context) (api.Run, error) {
	return post[api.Run](ctx, c, "/api/v1/applied/prove", nil)
}

// Reapply begins to put the correction onto a newly measured map.
func (c *Client) Reapply(ctx context.Context) error {
	_, err := c.do(ctx, "POST", "/api/v1/applied/reapply", nil)
	return err
}

// Resolve decides what becomes of an apply that was cut off: "finish" or
// "take-back".
func (c *Client) Resolve(ctx context.Context, choice string) error {
	_, err := c.do(ctx, "POST", "/api/v1/applied/resolve", api.Resolve{Choice: choice})
	return err
}

// Stop asks for a stop of whatever goes on. It is no emergency stop.
func (c *Client) Stop(ctx context.Context) (api.StopAnswer, error) {
	return post[api.StopAnswer](ctx, c, "/api/v1/stop", nil)
}

// Paired is a one-time link for a browser.
type Paired = access.Paired

// Pair asks for a one-time link that lets a browser in: to look, operate or
// sign; "" is sign.
func (c *Client) Pair(ctx context.Context, role string) (Paired, error) {
	return post[Paired](ctx, c, "/api/v1/pair", map[string]string{"role": role})
}

// Session is a browser that is let in.
type Session = access.Session

// Sessions returns the browsers that are let in.
func (c *Client) Sessions(ctx context.Context) ([]Session, error) {
	return get[[]Session](ctx, c, "/api/v1/sessions")
}

// EndSession ends a session at once.
func (c *Client) EndSession(ctx context.Context, id string) error {
	_, err := c.do(ctx, "DELETE", "/api/v1/sessions/"+url.PathEscape(id), nil)
	return err
}

func table(digest, below string) string { return "/api/v1/tables/" + url.PathEscape(digest) + below }

// Repair says what a person can do with tools after a run, by what is asked beyond the
// daemon's settings.
func (c *Client) Repair(ctx context.Context, id string, a api.AskRepair) (api.Repair, error) {
	query := url.Values{}
	for name, v := range map[string]float64{"mounting": a.Mounting, "spacing": a.Spacing, "width": a.Width, "height": a.Height, "rails": a.Rails, "pitch": a.Pitch} {
		if v != 0 {
			query.Set(name, strconv.FormatFloat(v, 'g', -1, 64))
		}
	}
	var places []string
	for _, p := range a.Supports {
		places = append(places, strconv.FormatFloat(p.X, 'g', -1, 64)+","+strconv.FormatFloat(p.Y, 'g', -1, 64))
	}
	if len(places) > 0 {
		query.Set("supports", strings.Join(places, " "))
	}
	return get[api.Repair](ctx, c, run(id, "/repair?"+query.Encode()))
}

// ProofPrint returns the file of a proof print; "" means over the reach.
func (c *Client) ProofPrint(ctx context.Context, id, inForce string) (api.ProofPrint, error) {
	return get[api.ProofPrint](ctx, c, "/api/v1/proof-print?"+url.Values{"run": {id}, "in_force": {inForce}}.Encode())
}

// Readings sends what a person read from instruments of their own.
func (c *Client) Readings(ctx context.Context, id string, r api.Readings) (api.ReadingsKept, error) {
	return post[api.ReadingsKept](ctx, c, run(id, "/readings"), r)
}

// Thickness sends the readings of a proof print.
func (c *Client) Thickness(ctx context.Context, id string, t api.Thickness) (api.Proof, error) {
	return post[api.Proof](ctx, c, run(id, "/thickness"), t)
}
