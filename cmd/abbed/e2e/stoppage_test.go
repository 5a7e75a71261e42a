package e2e_test

import (
	"context"
	"testing"
	"time"

	"abbed/daemon/api"
)

// TestPageStopDies: the line to the page is cut, and a stop is asked for there. The run
// is ended by somebody else; another one begins. When the line is back, a quarter of a
// minute later, the stop of then does not reach the run of now.
func TestPageStopDies(t *testing.T) {
	long(t)
	s := openShop(t, "beam-twist", brisk)
	w := newWindow(t, newBrowser(t), phone, "stop-dies")
	s.enter(w)
	s.start(w)
	w.until(`!!document.querySelector('button[value=record]')`)
	s.line.set(true)
	w.reads("No connection since")
	w.press(`button.stop`)
	pressed := time.Now()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if _, err := s.house.Daemon.Stop(ctx, api.AskStop{}, "someone else"); err != nil {
		t.Fatal(err)
	}
	next := s.anotherRun(t, ctx)
	halts := s.printer.Safety().Halts
	time.Sleep(time.Until(pressed.Add(15 * time.Second)))
	s.line.set(false)
	time.Sleep(5 * time.Second)
	if r, err := s.house.Daemon.Run(next); err != nil || r.State == api.Stopped || s.printer.Safety().Halts > halts {
		t.Errorf("the stop of a quarter of a minute ago reached the next run: it is %s (%v)", r.State, err)
	}
}

// anotherRun has the machine reset, put back what is owed, and a run begin that waits
// at the gauge; no line to the page is needed.
func (s *shop) anotherRun(t *testing.T, ctx context.Context) string {
	t.Helper()
	d := s.house.Daemon
	s.printer.Restart()
	for ctx.Err() == nil {
		p := d.Printer()
		if p.Link == api.Ready && len(p.Owed) == 0 {
			r, err := d.StartRun(ctx, api.NewRun{Steps: []string{"gauging"}}, "someone else")
			if err == nil {
				word := api.Confirm{Person: "someone else"}
				for _, c := range r.Cautions {
					word.Cautions = append(word.Cautions, c.ID)
				}
				if err = d.Confirm(ctx, r.ID, word); err != nil {
					t.Fatal(err)
				}
				return r.ID
			}
		} else if p.Link == api.Ready {
			_ = d.Resolve(ctx, api.Resolve{Choice: "finish"}, "someone else")
		}
		time.Sleep(200 * time.Millisecond)
	}
	t.Fatal("no other run began")
	return ""
}
