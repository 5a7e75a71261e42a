package e2e_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// mostEnding is how long the end of the program may take, whatever goes on.
const mostEnding = 20 * time.Second

// ended asks the program to end, as a signal does, and waits until it has; it
// returns how long that took. meanwhile is done while it ends, nil for nothing.
func (s *stage) ended(t *testing.T, meanwhile func()) time.Duration {
	t.Helper()
	began, done := time.Now(), make(chan time.Duration, 1)
	s.transport.CloseIdleConnections()
	s.end()
	go func() {
		s.running.Wait()
		done <- time.Since(began)
	}()
	if meanwhile != nil {
		meanwhile()
	}
	select {
	case d := <-done:
		return d
	case <-time.After(time.Hour):
		t.Fatal("the program does not end")
	}
	return 0
}

// plainly reports whether err is nil or an answer of the API, as a person can
// read it; a connection that nobody accepts is none.
func plainly(err error) bool {
	var e *api.Error
	return err == nil || errors.As(err, &e)
}

// TestStopWhileItEnds: a stop that is asked for while the program ends is taken,
// or answered plainly: the page still listens then.
func TestStopWhileItEnds(t *testing.T) {
	t.Parallel()
	for name, where := range map[string]api.State{"at the gauge": api.AwaitingGauge, "while it touches": api.Running} {
		for _, after := range []time.Duration{10 * time.Millisecond, time.Second} {
			t.Run(name+" "+after.String(), func(t *testing.T) {
				inBubble(t, func(t *testing.T, dir string) {
					s := onStage(t, dir, lookup(t, "twist-level"), 2)
					defer s.close()
					run := s.confirmed(t, "repeat", "gauging")
					if where == api.Running {
						s.until(t, run.ID, func(r api.Run) bool { return r.Touches == 5 })
					} else {
						s.until(t, run.ID, inState(where))
					}
					over := false
					took := s.ended(t, func() {
						time.Sleep(after)
						ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
						defer cancel()
						_, err := s.api.Stop(ctx)
						select {
						case <-waited(s):
							over = true
						default:
						}
						if !plainly(err) && !over {
							t.Errorf("a stop %v after the end was asked for, while it still ends: %v", after, err)
						}
					})
					if took > mostEnding {
						t.Errorf("it took %v to end", took)
					}
					s.sound(t)
				})
			})
		}
	}
}

// waited is closed once the house has ended.
func waited(s *stage) <-chan struct{} {
	c := make(chan struct{})
	go func() {
		s.running.Wait()
		close(c)
	}()
	time.Sleep(time.Millisecond)
	return c
}

// TestApplyIsWholeAtTheEnd: the program is asked to end in the middle of an apply,
// or of an undo. While the printer answers, it finishes or takes back: the map is
// whole, in force and kept alike, and the next start finds nothing half written.
func TestApplyIsWholeAtTheEnd(t *testing.T) {
	t.Parallel()
	for _, after := range []time.Duration{5, 20, 60, 100, 150, 200, 400} {
		t.Run((after * time.Millisecond).String(), func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				sc := lookup(t, "twist-level")
				sc.Baud = 115200 // so that writing takes a while
				s := onStage(t, dir, sc, 2)
				defer func() { s.close() }()
				before := s.printer.Nodes()
				run, err := s.hand.Measure(t.Context(), "repeat", "gauging", "survey")
				if err != nil {
					t.Fatal(err)
				}
				o := &ask.Outcome{Run: run}
				if err := o.Read(t.Context(), s.api); err != nil || o.Table.Digest == nil {
					t.Fatalf("no table: %+v, %v", o.Table.Refused, err)
				}
				whole := plusTable(before, o.Table)
				how := api.SignOff{Person: s.hand.Name}
				for _, c := range o.Table.Cautions {
					how.Cautions = append(how.Cautions, c.ID)
				}
				signed, err := s.api.SignOff(t.Context(), *o.Table.Digest, how)
				if err == nil {
					err = s.api.Apply(t.Context(), *o.Table.Digest, signed.Token)
				}
				if err != nil {
					t.Fatal(err)
				}
				time.Sleep(after * time.Millisecond)
				if took := s.ended(t, nil); took > mostEnding {
					t.Errorf("it took %v to end", took)
				}
				now, kept := s.printer.Nodes(), s.printer.Kept()
				if isOld, isNew := nearNodes(now, before), nearNodes(now, whole); !isOld && !isNew {
					t.Errorf("the map in force is neither the old one nor the new one:\n%v", now)
				}
				if !nearNodes(now, kept) {
					t.Errorf("in force is\n%v, kept\n%v", now, kept)
				}
				s.close()
				s.again(t, dir)
				a, err := s.api.Applied(t.Context())
				if err != nil || a.State == api.Unfinished || a.Half {
					t.Errorf("the next start finds the correction %s: %+v, %v", a.State, a.Error, err)
				}
			})
		})
	}
}

// silences are the ways in which a printer gives no answer any more: without a word,
// with reports that it makes by itself, and with the word that it is busy.
var silences = map[string]func(p *bench.Printer, when string, seconds float64){
	"silent":       (*bench.Printer).Mute,
	"talking":      (*bench.Printer).Deafen,
	"swallowed":    func(p *bench.Printer, when string, _ float64) { p.Inject(bench.Fault{Name: "silence", When: when}) },
	"always busy":  func(p *bench.Printer, when string, _ float64) { p.Hang(when, 1e6) },
	"answers late": func(p *bench.Printer, when string, _ float64) { p.Late(when, 12) },
}

// TestSilentPrinterLetsItEnd: the printer gives no answer any more in a run. The
// program ends within twenty seconds when asked, at once and after a while.
func TestSilentPrinterLetsItEnd(t *testing.T) {
	t.Parallel()
	for how, silence := range silences {
		for when, steps := range map[string][]string{"G30:9": {"repeat"}, "G1:9": {"gauging"}, "M420": {"gauging"}, "G28": {"gauging"}, "M27:3": {"gauging"}} {
			for _, after := range []time.Duration{time.Second, 25 * time.Second} {
				t.Run(fmt.Sprintf("%s %s %v", how, when, after), func(t *testing.T) {
					inBubble(t, func(t *testing.T, dir string) {
						sc := lookup(t, "twist-level")
						sc.Echoes = 4
						s := onStage(t, dir, sc, 2)
						defer s.close()
						silence(s.printer, when, 0)
						run := s.confirmed(t, steps...)
						go func() { _, _ = carryOn(s.hand, t.Context(), run) }()
						for k := 0; s.printer.Strikes() == 0 && k < 6000; k++ {
							time.Sleep(100 * time.Millisecond)
						}
						if s.printer.Strikes() == 0 {
							t.Fatal("it never fell silent")
						}
						time.Sleep(after)
						if took := s.ended(t, nil); took > mostEnding {
							t.Errorf("asked %v after the printer gave no answer any more, it took %v to end", after, took)
						}
						s.sound(t)
					})
				})
			}
		}
	}
}

// carryOn carries a run that was confirmed.
func carryOn(p *demo.Person, ctx context.Context, run api.Run) (api.Run, error) {
	for {
		run, err := p.API.Wait(ctx, run.ID, func(r api.Run) bool {
			return r.State.Over() || inState(api.AwaitingGauge, api.AwaitingNext, api.AwaitingPerson)(r)
		})
		if err != nil || run.State.Over() {
			return run, err
		}
		if err := p.Act(ctx, run); err != nil {
			return run, err
		}
	}
}

// TestNothingMovesAfterALostLine: the printer gives no answer any more at a touch, a
// travel or a homing, for a while or for ever. Nothing moves after that, not even up:
// where the head stands is not known. The run fails within a minute, and says so.
func TestNothingMovesAfterALostLine(t *testing.T) {
	for _, how := range []string{"silent", "talking", "swallowed"} {
		for _, when := range []string{"G30:3", "G30:12", "G1:2", "G28"} {
			for _, seconds := range []float64{0, 15, 45, 100} {
				// A travel that a numbered board counted is taken as done (the wire's rule).
				if how == "swallowed" && (seconds > 0 || when == "G1:2") {
					continue
				}
				t.Run(fmt.Sprintf("%s %s %v s", how, when, seconds), func(t *testing.T) {
					inBubble(t, func(t *testing.T, dir string) {
						sc := lookup(t, "twist-level")
						if how == "talking" {
							sc.Echoes = 4
						}
						s := onStage(t, dir, sc, 2)
						defer s.close()
						silences[how](s.printer, when, seconds)
						run := s.confirmed(t, "repeat")
						for k := 0; s.printer.Strikes() == 0 && k < 6000; k++ {
							time.Sleep(100 * time.Millisecond)
						}
						s.nothingMoves(t, run.ID, seconds)
					})
				})
			}
		}
	}
}

// nothingMoves: the last line sent was lost. No other that moves goes out, but that
// one once more, and the run fails; where it was heard at last, the run may go on.
func (s *stage) nothingMoves(t *testing.T, id string, seconds float64) {
	t.Helper()
	fell, since := time.Now(), time.Since(s.began).Seconds()
	lost := s.before(since)
	run := s.until(t, id, func(api.Run) bool { return false })
	if run.State == api.Done && seconds > 0 && seconds < 20 {
		return
	}
	if run.State != api.Failed || run.Error == nil || run.Error.Hint == "" {
		t.Errorf("the run %s: %+v", run.State, run.Error)
	}
	most := time.Minute
	if s.sc.Echoes > 0 { // a report that nobody asked for is a sign of life
		most = 4 * time.Minute
	}
	if took := time.Since(fell); took > most {
		t.Errorf("the run failed %v after the printer fell silent: %+v", took, run.Error)
	}
	time.Sleep(3 * time.Minute)
	repeated := 0
	for _, l := range s.motionsSince(since) {
		if repeated++; repeated > 1 || !sameWord(l, lost) {
			t.Errorf("after %q was lost: %s", lost, l)
		}
	}
	s.sound(t)
}

// before is the last line that was sent up to a time.
func (s *stage) before(at float64) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	last := ""
	for _, l := range s.sent {
		if l.at <= at {
			last = l.text
		}
	}
	return last
}

// sameWord reports whether a line, with its time before it, is that line.
func sameWord(timed, line string) bool {
	return len(timed) >= len(line) && timed[len(timed)-len(line):] == line
}

// TestStopSparesAForeignPrint: nothing of ours goes on, and a print that is not ours
// runs from the printer's own storage. A stop without a second, plain question does
// not end it, and is answered plainly: the page asks again only after a 5xx.
func TestStopSparesAForeignPrint(t *testing.T) {
	sc := lookup(t, "healthy")
	sc.Printing = true
	for name, waiting := range map[string]bool{"nothing of ours": false, "a run that waits": true} {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, sc, 3)
				defer s.close()
				if waiting {
					if _, err := s.api.StartRun(t.Context(), "repeat"); err != nil {
						t.Fatal(err)
					}
				}
				_, err := s.api.Stop(t.Context())
				time.Sleep(time.Second)
				if s.printer.Safety().Halts > 0 {
					t.Errorf("the print that is not ours was ended (%v)", err)
				}
				var e *api.Error
				if errors.As(err, &e) && (e.Status >= 500 || e.Text == "" || e.Hint == "") || err != nil && e == nil {
					t.Errorf("not answered plainly: %v", err)
				}
			})
		})
	}
}

// TestStopWithNothingGoingOn: no run, nothing being written, nothing hot by us. A
// stop is answered plainly, whatever the link is; not with a 5xx, after which the
// page asks again for ever.
func TestStopWithNothingGoingOn(t *testing.T) {
	for name, make := range map[string]func(s *stage){
		"ready":       func(*stage) {},
		"pulled":      func(s *stage) { s.cable.pull(true); time.Sleep(5 * time.Second) },
		"halted":      func(s *stage) { s.printer.Halt(); time.Sleep(5 * time.Second) },
		"silent":      func(s *stage) { s.printer.Mute("", 0); time.Sleep(40 * time.Second) },
		"after a run": func(s *stage) { _, _ = s.hand.Measure(context.Background(), "repeat") },
	} {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, lookup(t, "healthy"), 3, smaller)
				defer s.close()
				make(s)
				_, err := s.api.Stop(t.Context())
				var e *api.Error
				if err != nil && !errors.As(err, &e) || e != nil && (e.Status >= 500 || e.Text == "" || e.Hint == "") {
					t.Errorf("not answered plainly: %v", err)
				}
			})
		})
	}
}

// TestStopDiesWithItsRun: the line is pulled in a run, and a stop is asked for that
// cannot go out. The line comes back and another run begins: it is not stopped, and
// the stop that could not be delivered was said so.
func TestStopDiesWithItsRun(t *testing.T) {
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, lookup(t, "healthy"), 3, smaller)
		defer s.close()
		run := s.confirmed(t, "repeat")
		s.until(t, run.ID, func(r api.Run) bool { return r.Touches == 4 })
		s.cable.pull(true)
		said, err := s.api.Stop(t.Context())
		var e *api.Error
		if err != nil && (!errors.As(err, &e) || e.Hint == "") {
			t.Errorf("the stop: %v", err)
		}
		run = s.until(t, run.ID, func(api.Run) bool { return false })
		if over := err == nil && !said.Requested; run.State != api.Stopped && !over { // the line may have ended it first
			t.Errorf("the run that was to stop %s: %+v", run.State, run.Error)
		}
		s.cable.pull(false)
		time.Sleep(time.Minute)
		p := ready(t, s.world)
		if len(p.Owed) > 0 {
			if err := s.api.Resolve(t.Context(), "finish"); err != nil {
				t.Fatal(err)
			}
			time.Sleep(90 * time.Second) // less than after which the server closes a line
		}
		halts := s.printer.Safety().Halts
		next, err := s.hand.Measure(t.Context(), "repeat")
		if err != nil || next.State != api.Done {
			t.Errorf("the next run %s: %+v, %v", next.State, next.Error, err)
		}
		if s.printer.Safety().Halts > halts {
			t.Error("the stop reached the next run")
		}
		s.sound(t)
	})
}
