package e2e_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/gcode/port"
)

// weekly has a check asked for each week, while somebody is there.
func weekly(s *config.Settings) {
	s.Check.Every = 7 * 24 * time.Hour
	s.Repeat = config.Repeat{Rounds: 4, Move: 12, RowHalf: 20, RowStep: 10, Passes: 3}
}

// tellIt has another program tell the printer a word.
func tellIt(word string) func(*testing.T, *bench.Printer) {
	return func(t *testing.T, printer *bench.Printer) {
		t.Helper()
		near, far := net.Pipe()
		var serving sync.WaitGroup
		serving.Go(func() { _ = printer.Serve(context.WithoutCancel(t.Context()), far) })
		in := bufio.NewScanner(near)
		if _, err := io.WriteString(near, word+"\n"); err != nil {
			t.Fatal(err)
		}
		for in.Scan() && !strings.HasPrefix(in.Text(), "ok") {
		}
		_ = near.Close()
		_ = far.Close()
		serving.Wait()
	}
}

// warmed has heated the bed, and switched the heater off.
func warmed(t *testing.T, printer *bench.Printer) {
	t.Helper()
	tellIt("M140 S90")(t, printer)
	time.Sleep(10 * time.Minute)
	tellIt("M140 S0")(t, printer)
}

// until lets the bubble's time pass until ok, at most an hour.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Hour); !ok(); time.Sleep(20 * time.Second) {
		if time.Now().After(end) {
			t.Fatalf("within an hour it did not come that %s", what)
		}
	}
}

func checkOf(t *testing.T, w *world) api.Check {
	t.Helper()
	c, err := w.api.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func runsOf(t *testing.T, w *world) []api.Run {
	t.Helper()
	rs, err := w.api.Runs(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return rs
}

// TestCalendar: a check that is due makes a run that waits for a person; it gives
// way to what a person wants; once done it is due a week later, over a restart;
// nothing moved before the person's word.
func TestCalendar(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sc.Chatter, sc.Waits = 0, 0
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 3})
		w := open(t, dir, sc, &cable{printer: printer}, weekly)
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		ready(t, w)
		until(t, "a check is asked for", func() bool { return len(runsOf(t, w)) == 1 })
		r := runsOf(t, w)[0]
		if r.State != api.AwaitingConfirmation || strings.Join(r.Steps, " ") != "repeat survey" || r.Touches != 0 {
			t.Fatalf("%+v", r)
		}
		if c := checkOf(t, w); c.Due == nil || c.Last != nil || !strings.Contains(c.Sentence, "due") {
			t.Errorf("%+v", c)
		}
		// Somebody wants something else: the run that waits gives way.
		if run, err := p.Measure(t.Context(), "repeat"); err != nil || run.State != api.Done {
			t.Fatalf("%s, %v", run.State, err)
		}
		if rs := runsOf(t, w); len(rs) != 2 || rs[1].State != api.Stopped || rs[1].Touches != 0 {
			t.Errorf("%+v", rs)
		}
		time.Sleep(2 * time.Minute)
		c := checkOf(t, w)
		if c.Last == nil || c.Due == nil || c.Due.Sub(*c.Last) != 7*24*time.Hour || c.Waits != "" {
			t.Errorf("%+v", c)
		}
		w.close()

		w = open(t, dir, sc, &cable{printer: printer}, weekly)
		defer w.close()
		p.API = w.api
		ready(t, w)
		time.Sleep(2 * time.Minute)
		if again := checkOf(t, w); again.Due == nil || again.Due.Sub(*c.Due).Abs() > time.Minute || len(runsOf(t, w)) != 2 {
			t.Errorf("after a restart %+v, before it %+v", again, c)
		}
		if due := scraped(t, w)["abbed_check_due_timestamp_seconds"]; due < 1e6 {
			t.Errorf("due in the metrics: %g", due)
		}
		time.Sleep(7 * 24 * time.Hour)
		until(t, "the next is asked for", func() bool { return len(runsOf(t, w)) == 3 })
		r = runsOf(t, w)[0]
		// The person says no: nobody is asked again each minute.
		if err := w.api.Withdraw(t.Context(), r.ID); err != nil {
			t.Fatal(err)
		}
		var e *api.Error
		if err := w.api.Withdraw(t.Context(), r.ID); !errors.As(err, &e) || e.Code != "wrong-state" {
			t.Errorf("withdrawn twice: %v", err)
		}
		ready(t, w)
		time.Sleep(time.Hour)
		if rs := runsOf(t, w); len(rs) != 3 || rs[0].ID != r.ID {
			t.Errorf("asked again within the hour: %+v", rs)
		}
		if c := checkOf(t, w); !strings.Contains(c.Waits, "a day later") {
			t.Errorf("%+v", c)
		}
		time.Sleep(25 * time.Hour)
		until(t, "it is asked for a day later", func() bool { return len(runsOf(t, w)) == 4 })
		r = runsOf(t, w)[0]
		done, err := p.Carry(t.Context(), r)
		if err != nil || done.State != api.Done {
			t.Fatalf("%s, %v", done.State, err)
		}
		// 2 rows of 5, and the base point before and after each.
		survey := 0
		rec, err := w.api.Record(t.Context(), r.ID)
		if err != nil {
			t.Fatal(err)
		}
		survey = strings.Count(string(rec), `"series":"survey"`)
		if survey < 4 || survey > 10 {
			t.Errorf("the check's survey has %d places", survey)
		}
	})
}

// TestCalendarWaits: by itself a check begins only where the owner has allowed
// it, in its window, on a cold and idle printer, and never while another program
// has the port.
func TestCalendarWaits(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sc.Chatter, sc.Waits = 0, 0
	begin := func(s *config.Settings) {
		weekly(s)
		s.AttendedStarts, s.Check.Begins, s.Check.Window = true, config.CheckBegins, "00:00-23:59"
	}
	for name, c := range map[string]struct {
		change func(*config.Settings)
		before func(*testing.T, *bench.Printer) // what was done to the printer
		deny   error
		state  api.State // of the run; "": none
		waits  string
		hot    bool // one caution more: of what burns
	}{
		"allowed":              {change: begin, state: api.Running},
		"outside its window":   {change: func(s *config.Settings) { begin(s); s.Check.Window = "03:00-04:00" }, waits: "check.window"},
		"hot":                  {change: begin, before: tellIt("M140 S90"), waits: "heat"},
		"not allowed":          {change: func(s *config.Settings) { weekly(s); s.Check.Begins = config.CheckBegins }, state: api.AwaitingConfirmation},
		"as hot as set":        {change: func(s *config.Settings) { weekly(s); s.Check.Heat, s.Heat.Bed = true, 60 }, state: api.AwaitingConfirmation, hot: true},
		"hot by itself":        {change: func(s *config.Settings) { begin(s); s.Check.Heat, s.Heat.Bed = true, 60 }, state: api.AwaitingConfirmation, hot: true},
		"no calendar":          {change: func(s *config.Settings) { s.Check.Every = 0 }},
		"another has it":       {change: begin, deny: &port.TakenError{Device: "/dev/x", Holder: port.Holder{PID: 4218, Name: "other"}}, waits: "other"},
		"port is given back":   {change: func(s *config.Settings) { begin(s); s.Hold = config.HoldRun }, state: api.AwaitingConfirmation},
		"hot, and only asks":   {change: weekly, before: tellIt("M104 S60"), waits: "heat"},
		"still warm":           {change: begin, before: warmed, waits: "cold"},
		"warm does not matter": {change: func(s *config.Settings) { begin(s); s.Check.Below = 0 }, before: warmed, state: api.Running},
		"it prints":            {change: begin, before: func(_ *testing.T, p *bench.Printer) { p.Print(100, 1000) }, waits: "print"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 3})
				wire := &cable{printer: printer, deny: c.deny}
				if c.before != nil {
					c.before(t, printer)
				}
				w := open(t, dir, sc, wire, c.change)
				defer w.close()
				if c.deny == nil {
					until(t, "it is there", func() bool {
						p, err := w.api.Printer(t.Context())
						return err == nil && (p.Link == api.Ready || p.Link == api.Resting)
					})
				}
				time.Sleep(65 * time.Second) // it is looked at each minute
				rs, check := runsOf(t, w), checkOf(t, w)
				if (len(rs) > 0) != (c.state != "") || len(rs) > 0 && rs[0].State != c.state {
					t.Errorf("runs %+v, want %q; %+v", rs, c.state, check)
				}
				if c.state == api.AwaitingConfirmation && len(rs) > 0 {
					heats := slices.ContainsFunc(rs[0].Cautions, func(c api.Caution) bool { return c.ID == "heats" })
					if heats != c.hot {
						t.Errorf("cautions %+v", rs[0].Cautions)
					}
				}
				if c.waits != "" && !strings.Contains(check.Waits, c.waits) {
					t.Errorf("it waits: %q, want %q", check.Waits, c.waits)
				}
				if c.state == "" && c.waits == "" && check.Due != nil {
					t.Errorf("%+v", check)
				}
				if len(rs) > 0 {
					var e *api.Error
					if _, err := w.api.Stop(t.Context()); err != nil && !errors.As(err, &e) {
						t.Error(err)
					}
				}
			})
		})
	}
}

// TestCalendarKeepsNobodyWaiting: the calendar asks a printer that has fallen silent; what a
// person asks for meanwhile is answered, a stop above all.
func TestCalendarKeepsNobodyWaiting(t *testing.T) {
	sc := lookup(t, "healthy")
	sc.Chatter, sc.Waits = 0, 0
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 3})
		w := open(t, dir, sc, &cable{printer: printer}, weekly)
		defer w.close()
		ready(t, w)
		time.Sleep(50 * time.Second)
		printer.Inject(bench.Fault{Name: "half-open"})
		time.Sleep(12 * time.Second) // it is looked at each minute
		for act, ask := range map[string]func() error{
			"run": func() error { _, err := w.api.StartRun(t.Context(), "repeat"); return err },
			"stop": func() error {
				_, err := w.house.Daemon.Stop(t.Context(), api.AskStop{Anyway: true}, "test")
				return err
			},
			"undo": func() error { return w.api.Undo(t.Context()) },
		} {
			began := time.Now()
			err := ask()
			if took := time.Since(began); took > 2*time.Second {
				t.Errorf("%s waited %v: %v", act, took, err)
			}
		}
	})
}
