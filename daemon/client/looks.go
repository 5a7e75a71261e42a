package client

import (
	"context"
	"fmt"
	"net/url"

	"abbed/daemon/api"
)

// History returns what the runs of the printer tell, the oldest first.
func (c *Client) History(ctx context.Context) (api.History, error) {
	return get[api.History](ctx, c, "/api/v1/history")
}

// Compare returns what changed from one run to a later one.
func (c *Client) Compare(ctx context.Context, before, after string) (api.Comparison, error) {
	return get[api.Comparison](ctx, c, run(after, "/since/"+url.PathEscape(before)))
}

// Levers foretells the gap error with the probe mounted elsewhere.
func (c *Client) Levers(ctx context.Context, id string, a api.AskLevers) (api.Levers, error) {
	q := url.Values{}
	for _, l := range a.Levers {
		q.Add("lever", fmt.Sprintf("%g,%g", l.X, l.Y))
	}
	if w := a.Within; w != nil {
		q.Set("within", fmt.Sprintf("%g,%g,%g,%g", w.X0, w.Y0, w.X1, w.Y1))
	}
	return get[api.Levers](ctx, c, run(id, "/levers?"+q.Encode()))
}
