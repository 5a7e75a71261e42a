package client

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"syscall"
	"time"

	"abbed/daemon/api"
)

// maxAnswer is the largest answer that is read, bytes: a record of some ten
// thousand touches.
const maxAnswer = 64 << 20

// Client calls one daemon.
type Client struct {
	// Verbs are those of the API.
	api.Verbs
	base  string
	token string
	http  *http.Client
}

// New returns a client of the daemon at base ("http://127.0.0.1:7787") with the
// operator's token; an empty token can read, and stop on loopback.
//
// A base unix:/path is the daemon's socket: there the file's permissions are
// the access, and the token may be empty.
func New(base, token string) *Client {
	if path, ok := strings.CutPrefix(base, "unix:"); ok {
		return of("http://abbed.socket", token, &http.Client{Transport: &http.Transport{
			DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
				var d net.Dialer
				return d.DialContext(ctx, "unix", path)
			},
		}})
	}
	return of(strings.TrimRight(base, "/"), token, &http.Client{})
}

// Over returns the same client over another transport: an in-memory listener,
// one that checks each answer.
func (c *Client) Over(t http.RoundTripper) *Client {
	return of(c.base, c.token, &http.Client{Transport: t})
}

// do sends one request and returns the body of the answer.
func (c *Client) do(ctx context.Context, method, path string, body any) ([]byte, error) {
	res, err := c.send(ctx, method, path, body, "")
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("client: %s %s: read the answer: %w", method, path, err)
	}
	return b, nil
}

// send sends one request and returns an answer below 300; any other is an
// error. The caller closes its body.
func (c *Client) send(ctx context.Context, method, path string, body any, lastEvent string) (*http.Response, error) {
	var sent io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return nil, fmt.Errorf("client: %s %s: %w", method, path, err)
		}
		sent = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, c.base+path, sent)
	if err != nil {
		return nil, fmt.Errorf("client: %s %s: %w", method, path, err)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	if lastEvent != "" {
		req.Header.Set("Last-Event-ID", lastEvent)
	}
	res, err := c.http.Do(req)
	if err != nil {
		var sent *url.Error
		if errors.As(err, &sent) {
			err = sent.Err // the rest stands here
		}
		return nil, fmt.Errorf("client: %s %s at %s: %w. %s", method, path, c.base, err, whyNot(err))
	}
	if res.StatusCode >= 300 {
		defer res.Body.Close()
		return nil, refusal(method, path, res)
	}
	return res, nil
}

// whyNot says what to do where no answer came.
func whyNot(err error) string {
	var trust *tls.CertificateVerificationError
	var other tls.RecordHeaderError
	switch {
	case errors.As(err, &trust):
		return "Its certificate is not trusted here: name it with --ca FILE, or the printer with --printer"
	case errors.As(err, &other), strings.Contains(err.Error(), "HTTP response to HTTPS"):
		return "It speaks another protocol: is the address http:// or https://?"
	case errors.Is(err, fs.ErrPermission):
		return "This user may not use that socket: leave it out to look or to stop, or use sudo"
	case errors.Is(err, syscall.ECONNREFUSED), errors.Is(err, fs.ErrNotExist):
		return "Is the daemon running there?"
	}
	return "Look at the machine and the network"
}

// refusal reads the refusal in an answer.
func refusal(method, path string, res *http.Response) error {
	b, err := io.ReadAll(io.LimitReader(res.Body, 1<<20))
	if err != nil {
		return fmt.Errorf("client: %s %s: %s: read the refusal: %w", method, path, res.Status, err)
	}
	var r api.Refusal
	if err := json.Unmarshal(b, &r); err != nil || r.Error == nil || r.Error.Code == "" {
		return fmt.Errorf("client: %s %s: %s, without a refusal of the API: is that the daemon?", method, path, res.Status)
	}
	r.Error.Status = res.StatusCode
	r.Error.RetryAfter, _ = strconv.Atoi(res.Header.Get("Retry-After"))
	return r.Error
}

// Patiently calls do again as long as it is refused with a time after which
// trying again helps.
func Patiently(ctx context.Context, do func() error) error {
	for {
		err := do()
		var e *api.Error
		if !errors.As(err, &e) || e.RetryAfter <= 0 {
			return err
		}
		if pause(ctx, time.Duration(e.RetryAfter)*time.Second) != nil {
			return err
		}
	}
}

// pause waits for d, or for the end of ctx.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
