package client_test

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/web"
	"abbed/daemon/web/webtest"
	"abbed/probe/record"
)

// line is an in-memory listener that can be cut.
type line struct {
	conns chan net.Conn
	done  chan struct{}
	mu    sync.Mutex
	open  []net.Conn
}

func (l *line) Accept() (net.Conn, error) {
	select {
	case c := <-l.conns:
		return c, nil
	case <-l.done:
		return nil, net.ErrClosed
	}
}
func (l *line) Close() error   { close(l.done); return nil }
func (l *line) Addr() net.Addr { return &net.IPAddr{} }

func (l *line) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	near, far := net.Pipe()
	select {
	case l.conns <- far:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.open = append(l.open, near)
	return near, nil
}

// cut breaks every connection.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.open {
		c.Close()
	}
	l.open = nil
}

// daemon serves d in memory; every answer is held to the description.
func daemon(t *testing.T, d *webtest.Desk) (*client.Client, *line, *webtest.Transport) {
	l := &line{conns: make(chan net.Conn), done: make(chan struct{})}
	s := &http.Server{Handler: web.New(d, web.Options{})}
	ended := make(chan struct{})
	go func() { defer close(ended); _ = s.Serve(l) }()
	tr := &http.Transport{DialContext: l.dial}
	checked := &webtest.Transport{Next: tr, Fail: func(err error) { t.Error(err) }}
	t.Cleanup(func() {
		tr.CloseIdleConnections()
		l.cut()
		_ = s.Close()
		<-ended
	})
	return client.New("http://abbed/", "secret").Over(checked), l, checked
}

// Each verb reaches the desk, and no operation of the API is left out.
func TestEveryVerb(t *testing.T) {
	d := webtest.Scene("done")
	c, _, seen := daemon(t, d)
	ctx := t.Context()
	check := func(name string, err error) {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	p, err := c.Printer(ctx)
	check("printer", err)
	if p.Link != api.Ready {
		t.Errorf("link %q", p.Link)
	}
	_, err = c.Check(ctx)
	check("check", err)
	_, err = c.Room(ctx)
	check("room", err)
	_, err = c.History(ctx)
	check("history", err)
	_, err = c.Levers(ctx, "r1", api.AskLevers{Levers: []api.XY{{X: 0, Y: 30}}})
	check("levers", err)
	_, err = c.Compare(ctx, "r1", "r1")
	check("compare", err)
	check("open", c.Open(ctx, "Ida"))
	r, err := c.StartRun(ctx, "repeat", "survey")
	check("start", err)
	if r.State != api.AwaitingConfirmation || len(r.Cautions) != 3 {
		t.Errorf("started: %+v", r)
	}
	check("withdraw", c.Withdraw(ctx, r.ID))
	check("confirm", c.Confirm(ctx, r.ID, api.Confirm{Cautions: []string{"bed-clear"}, Person: "Ida"}))
	check("answer", c.Answer(ctx, r.ID, api.AnswerPrompt{Prompt: "p", Answer: "yes"}))
	_, err = c.Gauge(ctx, r.ID, api.GaugeAction{Action: "loose"})
	check("gauge", err)
	runs, err := c.Runs(ctx)
	check("runs", err)
	if len(runs) != 3 {
		t.Errorf("%d runs", len(runs))
	}
	_, err = c.Run(ctx, "r1")
	check("run", err)
	rec, err := c.Record(ctx, "r1")
	check("record", err)
	var whole record.Run
	check("record as a run", json.Unmarshal(rec, &whole))
	if len(whole.Gaugings) != 20 {
		t.Errorf("%d gaugings in the record", len(whole.Gaugings))
	}
	a, err := c.Analysis(ctx, "r1")
	check("analysis", err)
	if a.Findings[0].ID != "beam-twist" {
		t.Errorf("first finding %q", a.Findings[0].ID)
	}
	gaps, err := c.Gap(ctx, "r1", [][2]float64{{117.5, 117.5}, {400, 0}})
	check("gap", err)
	if len(gaps) != 2 || gaps[0].Gap == nil || gaps[1].Gap != nil || gaps[1].Reason == "" {
		t.Errorf("gaps %+v", gaps)
	}
	table, err := c.Table(ctx, "r1")
	check("table", err)
	repair, err := c.Repair(ctx, "r1", api.AskRepair{Mounting: 300, Supports: []api.XY{{X: 30, Y: 30}, {X: 205, Y: 30}, {X: 117.5, Y: 205}}})
	check("repair", err)
	if len(repair.Cautions) == 0 {
		t.Errorf("repair %+v", repair)
	}
	pp, err := c.ProofPrint(ctx, api.AskPrint{Run: "r1"})
	check("proof print", err)
	proved, err := c.Thickness(ctx, "r1", api.Thickness{Plan: pp.Plan, CSV: "patch,thickness\n1,0.2\n", InForce: "none", Person: "Ida"})
	check("thickness", err)
	if proved.Verdict != "cannot-tell" {
		t.Errorf("proved %+v", proved)
	}
	kept, err := c.Readings(ctx, "r1", api.Readings{Person: "Ida", Readings: []api.InstrumentReading{{Quantity: "roll", U: 1, V: 2, Value: 0.1, Doubt: 0.02}}})
	check("readings", err)
	if kept.Rolls != 1 {
		t.Errorf("kept %+v", kept)
	}
	so, err := c.SignOff(ctx, *table.Digest, api.SignOff{Person: "Ida", Cautions: []string{"unproved"}})
	check("approve", err)
	check("apply", c.Apply(ctx, *table.Digest, so.Token))
	_, err = c.Applied(ctx)
	check("applied", err)
	check("undo", c.Undo(ctx))
	check("reapply", c.Reapply(ctx))
	_, err = c.Prove(ctx)
	check("prove", err)
	check("resolve", c.Resolve(ctx, "take-back"))
	_, err = c.Stop(ctx)
	check("stop", err)
	check("events", c.Events(ctx, "r1", func(api.Run) error { return nil }))
	// Pairing and sessions are access's, and not served here.
	if left := slices.DeleteFunc(seen.Unseen(), func(op string) bool { return strings.Contains(op, "/pair") || strings.Contains(op, "/sessions") }); len(left) > 0 {
		t.Errorf("never called: %q", left)
	}
	want := []string{`Gauge "new" {"action":"loose"}`, `Apply "` + webtest.Digest + `" {"token":"token-for-` + webtest.Digest + `"} "api"`, `Stop "api"`}
	for _, w := range want {
		if !slices.Contains(d.Asked(), w) {
			t.Errorf("the desk was not asked %s: %q", w, d.Asked())
		}
	}
}

// access answers pair; what it answers is what the description and the client
// expect.
func TestPair(t *testing.T) {
	a, _, err := access.Open(access.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(nil)
	if s.Config.Handler, err = a.Guard(s.Listener.Addr().String(), http.NotFoundHandler()); err != nil {
		t.Fatal(err)
	}
	s.Start()
	defer s.Close()
	token, err := os.ReadFile(a.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	c := client.New(s.URL, strings.TrimSpace(string(token))).Over(&webtest.Transport{Fail: func(err error) { t.Error(err) }})
	for role, want := range map[string]string{"look": "look", "operate": "look operate", "": "look operate sign"} {
		p, err := c.Pair(t.Context(), role)
		if err != nil || !strings.HasPrefix(p.URL, s.URL+"/in/") || time.Until(p.Expires) < time.Minute || p.Role.String() != want {
			t.Errorf("%+v: %v", p, err)
		}
	}
	p, err := c.Pair(t.Context(), "look")
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.PostForm(s.URL+"/in", url.Values{"code": {p.URL[len(s.URL+"/in/"):]}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	all, err := c.Sessions(t.Context())
	if err != nil || len(all) != 1 || all[0].Role.String() != "look" {
		t.Fatalf("%+v %v", all, err)
	}
	if err := c.EndSession(t.Context(), all[0].ID); err != nil {
		t.Error(err)
	}
	var e *api.Error
	if err := c.EndSession(t.Context(), all[0].ID); !errors.As(err, &e) || e.Code != "not-found" {
		t.Errorf("ended twice: %v", err)
	}
}

func TestRefusal(t *testing.T) {
	d := webtest.Scene("gauge")
	d.Change(func(s *webtest.Show) {
		s.Refuse = map[string]error{"Confirm": &api.Error{Status: 422, Code: "cautions-missing", Text: "t", Hint: "h", Missing: []string{"bed-clear"}}}
	})
	c, _, _ := daemon(t, d)
	err := c.Confirm(t.Context(), "r1", api.Confirm{Person: "Ida", Cautions: []string{}})
	var e *api.Error
	if !errors.As(err, &e) || e.Status != 422 || e.Code != "cautions-missing" || !slices.Equal(e.Missing, []string{"bed-clear"}) {
		t.Errorf("%+v", err)
	}
}

// The token goes along as a bearer (RFC 6750).
func TestToken(t *testing.T) {
	var got string
	c := client.New("http://abbed", "secret").Over(roundTrip(func(r *http.Request) (*http.Response, error) {
		got = r.Header.Get("Authorization")
		return nil, errors.New("no line")
	}))
	if _, err := c.Stop(t.Context()); err == nil || !strings.Contains(err.Error(), "POST /api/v1/stop") {
		t.Errorf("%v: want the verb in the error", err)
	}
	if got != "Bearer secret" {
		t.Errorf("Authorization %q", got)
	}
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

func TestPatiently(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := webtest.Scene("connecting")
		c, _, _ := daemon(t, d)
		began, tries := time.Now(), 0
		err := client.Patiently(t.Context(), func() error {
			if tries++; tries == 4 {
				d.Change(func(s *webtest.Show) { s.Refuse = nil })
			}
			_, err := c.StartRun(t.Context(), "repeat")
			return err
		})
		if err != nil || tries != 4 || time.Since(began) != 6*time.Second {
			t.Errorf("%v after %d tries and %v: want none, 4 tries, 3 times 2 s", err, tries, time.Since(began))
		}
	})
}

func TestWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := webtest.Scene("survey")
		c, l, _ := daemon(t, d)
		type result struct {
			run api.Run
			err error
		}
		got := make(chan result, 1)
		go func() {
			r, err := c.Wait(t.Context(), "r1", client.Is(api.AwaitingGauge))
			got <- result{r, err}
		}()
		synctest.Wait()
		l.cut() // the connection breaks, and what happens meanwhile is not missed
		d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Number = api.AwaitingGauge, 700 })
		r := <-got
		if r.err != nil || r.run.State != api.AwaitingGauge || r.run.Number != 700 {
			t.Errorf("%+v", r)
		}
	})
}

func TestWaitForWhatNeverComes(t *testing.T) {
	c, _, _ := daemon(t, webtest.Scene("failed"))
	_, err := c.Wait(t.Context(), "r0", client.Is(api.AwaitingGauge))
	var e *api.Error
	if !errors.Is(err, client.ErrOver) || !errors.As(err, &e) || e.Code != "lost" {
		t.Errorf("%v: want ErrOver with the run's own error", err)
	}
	if _, err := c.Wait(t.Context(), "nobody", client.Over); !errors.As(err, &e) || e.Code != "not-found" {
		t.Errorf("%v: want not-found", err)
	}
}

func TestWaitEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, _, _ := daemon(t, webtest.Scene("survey"))
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		if _, err := c.Wait(ctx, "r1", client.Over); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v", err)
		}
	})
}

// A daemon that is gone is tried again, ever more slowly, until ctx ends.
func TestBackOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tries := 0
		c := client.New("http://abbed", "").Over(roundTrip(func(*http.Request) (*http.Response, error) {
			tries++
			return nil, errors.New("refused")
		}))
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		err := c.Events(ctx, "r1", func(api.Run) error { return nil })
		if !errors.Is(err, context.DeadlineExceeded) || tries < 10 || tries > 30 {
			t.Errorf("%v after %d tries in a minute", err, tries)
		}
	})
}
