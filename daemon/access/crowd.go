package access

import (
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"abbed/daemon/api"
)

// How many requests are under way at once. They are fewer than the door's places, so
// that a stop, a look at the health and the operator's token always find one: these
// are not counted. 200 viewers on this machine, each with a stream and a screen that
// is being loaded, are 400. A browser has six connections to one host, and a person
// few browsers. Common practice, no source.
const (
	mostHeld    = mostConns - 64
	mostNobody  = 448 // of mostHeld, by nobody known
	mostStreams = 256 // event streams, of nobody known; and of the operator's token
	mostOfOne   = 16  // event streams of one session

	// mostWorked is how many requests of nobody known are worked on at once, streams
	// apart; the others wait for their turn, patience at most. A screen takes some
	// milliseconds of the processor, and a stop comes behind all that is being worked on.
	mostWorked = 32
	patience   = 5 * time.Second
)

// crowd counts the requests that are under way. Make one with newCrowd.
type crowd struct {
	turns chan struct{} // holds what is being worked on for nobody known

	mu      sync.Mutex
	all     int
	nobody  int
	streams map[string]int // by session, or by name where there is none
}

func newCrowd() *crowd {
	return &crowd{turns: make(chan struct{}, mostWorked), streams: map[string]int{}}
}

// follows reports whether a request is an event stream, which takes hours.
func follows(r *http.Request) bool {
	return r.Method == http.MethodGet && strings.HasSuffix(r.URL.Path, "/events")
}

// free reports whether a request is not counted.
func free(r *http.Request, v Visitor) bool {
	return !follows(r) && (v.Name == operator || r.URL.Path == "/healthz" || slices.Contains(stops, r.URL.Path))
}

// enter counts a request in; leave must be called when it was answered. An error
// says that there are too many.
func (c *crowd) enter(r *http.Request, v Visitor) (leave func(), err *api.Error) {
	if free(r, v) {
		return func() {}, nil
	}
	if err := c.admit(v, follows(r)); err != nil {
		return nil, err
	}
	return func() { c.count(v, follows(r), -1) }, nil
}

// turn waits until a request that may be answered is worked on; done must be called
// when it was.
func (c *crowd) turn(r *http.Request, v Visitor) (done func(), err *api.Error) {
	if v.Name != "" || follows(r) || free(r, v) {
		return func() {}, nil
	}
	late := time.NewTimer(patience)
	defer late.Stop()
	select {
	case c.turns <- struct{}{}:
		return func() { <-c.turns }, nil
	case <-late.C:
	case <-r.Context().Done():
	}
	return nil, busy()
}

// admit counts a request in, or says that there are too many.
func (c *crowd) admit(v Visitor, stream bool) *api.Error {
	most := mostOfOne
	if v.Session == "" {
		most = mostStreams
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case stream && c.streams[key(v)] >= most:
		return crowded(5, "Close other windows of this page. A program reads the run itself now and then.", "Too many viewers follow a run already.")
	case v.Name != operator && c.all >= mostHeld, v.Name == "" && c.nobody >= mostNobody:
		return busy()
	}
	c.add(v, stream, 1)
	return nil
}

// key names whose streams are counted together.
func key(v Visitor) string {
	if v.Session != "" {
		return v.Session
	}
	return v.Name
}

func (c *crowd) count(v Visitor, stream bool, n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.add(v, stream, n)
}

// add adds n to what a request counts for; c.mu is held.
func (c *crowd) add(v Visitor, stream bool, n int) {
	c.all += n
	if v.Name == "" {
		c.nobody += n
	}
	if !stream {
		return
	}
	if c.streams[key(v)] += n; c.streams[key(v)] == 0 {
		delete(c.streams, key(v))
	}
}

func busy() *api.Error {
	return crowded(1, "Try again in a moment. A stop request and the operator's token are still taken.", "Too many requests are being answered.")
}

func crowded(seconds int, hint, text string) *api.Error {
	e := api.Errorf(http.StatusServiceUnavailable, "too-many", hint, "%s", text)
	e.RetryAfter = seconds
	return e
}
