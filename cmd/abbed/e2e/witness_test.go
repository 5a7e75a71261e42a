package e2e_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// stage is a house beside a printer that watches itself: what the printer saw is
// held against what the program says.
type stage struct {
	*world
	sc      bench.Scenario
	printer *bench.Printer
	cable   *cable
	began   time.Time // the printer's power-on
	hand    *demo.Person

	mu   sync.Mutex
	sent []sentLine
}

// sentLine is one line that the program sent.
type sentLine struct {
	at   float64 // s since the printer's power-on
	text string
}

// onStage opens a house beside the printer of a scenario.
func onStage(t *testing.T, dir string, sc bench.Scenario, seed uint64, change ...func(*config.Settings)) *stage {
	t.Helper()
	s := &stage{sc: sc, began: time.Now(), printer: bench.New(sc, bench.Options{Seed: seed})}
	s.again(t, dir, change...)
	return s
}

// again opens the house anew, as after the end of the program.
func (s *stage) again(t *testing.T, dir string, change ...func(*config.Settings)) {
	t.Helper()
	s.cable = &cable{printer: s.printer, trace: func(way, line string) {
		if way != ">" {
			return
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.sent = append(s.sent, sentLine{time.Since(s.began).Seconds(), line})
	}}
	change = append(change, func(c *config.Settings) { s.printer.Promise(c.Clearance) })
	s.world = open(t, dir, s.sc, s.cable, change...)
	s.hand = &demo.Person{API: s.api, Feel: s.printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
	for range 3000 {
		if p, err := s.api.Printer(t.Context()); err == nil && p.Link == api.Ready {
			return
		}
		wait(t)
	}
	t.Fatal("the printer is not found within five minutes")
}

// motionsSince returns the lines that move the head and were sent later than at,
// s since the printer's power-on.
func (s *stage) motionsSince(at float64) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []string
	for _, l := range s.sent {
		if l.at > at && moves(l.text) {
			out = append(out, fmt.Sprintf("%.1f s: %s", l.at, l.text))
		}
	}
	return out
}

// moves reports whether a line moves the head.
func moves(line string) bool {
	for _, w := range strings.Fields(line) {
		switch code, _, _ := strings.Cut(w, "*"); code {
		case "G0", "G1", "G2", "G3", "G28", "G30", "G38.2":
			return true
		}
	}
	return false
}

// confirmed starts a run of these steps and confirms it.
func (s *stage) confirmed(t *testing.T, steps ...string) api.Run {
	t.Helper()
	run, err := s.api.StartRun(t.Context(), steps...)
	if err != nil {
		t.Fatal(err)
	}
	return s.confirm(t, run)
}

func (s *stage) confirm(t *testing.T, run api.Run) api.Run {
	t.Helper()
	how := api.Confirm{Person: s.hand.Name}
	for _, c := range run.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := s.api.Confirm(t.Context(), run.ID, how); err != nil {
		t.Fatal(err)
	}
	return run
}

// until waits for a state of the run; one that is over ends the waiting too.
func (s *stage) until(t *testing.T, id string, so func(api.Run) bool) api.Run {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 12*time.Hour)
	defer cancel()
	run, err := s.api.Wait(ctx, id, func(r api.Run) bool { return r.State.Over() || so(r) })
	if err != nil {
		t.Fatalf("waited in vain: %v", err)
	}
	return run
}

func inState(states ...api.State) func(api.Run) bool {
	return func(r api.Run) bool {
		for _, s := range states {
			if r.State == s {
				return true
			}
		}
		return false
	}
}

func asks(id string) func(api.Run) bool {
	return func(r api.Run) bool { return r.Prompt != nil && r.Prompt.ID == id }
}

// onward has the played person carry the run from where it is to its end.
func (s *stage) onward(t *testing.T, run api.Run) api.Run {
	t.Helper()
	for !run.State.Over() {
		run = s.until(t, run.ID, inState(api.AwaitingGauge, api.AwaitingNext, api.AwaitingPerson))
		if run.State.Over() {
			break
		}
		if err := s.hand.Act(t.Context(), run); err != nil {
			now, e := s.api.Run(t.Context(), run.ID)
			if e != nil || !now.State.Over() {
				t.Fatalf("%s: %v", run.State, err)
			}
			return now
		}
	}
	return run
}

// record reads what a run kept.
func (s *stage) record(t *testing.T, id string) (run record.Run) {
	t.Helper()
	raw, err := s.api.Record(t.Context(), id)
	if err == nil {
		err = json.Unmarshal(raw, &run)
	}
	if err != nil {
		t.Fatal(err)
	}
	return run
}

// untrue returns what of the record was made in another state than it claims: with
// the levelling off, but on for what gauges a correction in force. The printer
// knows what was on.
func (s *stage) untrue(run record.Run) []string {
	var out []string
	look := func(what string, t float64, want bool) {
		at := run.Began.Sub(s.began).Seconds() + t - 0.01 // what is switched at that very moment came after
		if is := s.printer.LevellingAt(at); is != want {
			out = append(out, fmt.Sprintf("%s at %.1f s: levelling %s, it claims %s", what, at, onOff(is), onOff(want)))
		}
	}
	for _, k := range run.Touches {
		look(fmt.Sprintf("touch %d at %s", k.N, k.Place), k.T, false)
	}
	for _, g := range run.Gaugings {
		look(fmt.Sprintf("reading %d at %s", g.N, g.Place), g.T, run.Proof != nil)
	}
	return out
}

func onOff(on bool) string { return map[bool]string{false: "off", true: "on"}[on] }

// owes reports whether a switch is said to be owed.
func (s *stage) owes(t *testing.T, what string) bool {
	t.Helper()
	p, err := s.api.Printer(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range p.Owed {
		if strings.HasPrefix(o, what) {
			return true
		}
	}
	return false
}

// sound holds the printer's own witness to there being nothing.
func (s *stage) sound(t *testing.T) {
	t.Helper()
	for i, v := range s.printer.Violations() {
		if i == 5 {
			t.Error("and more")
			break
		}
		t.Error(v)
	}
	if d := s.printer.Safety().Deepest(bench.ActLowering); d > deepestEver {
		t.Errorf("a lowering went %.2f mm into the bed, %.1f mm at most", d, deepestEver)
	}
}

// deepestEver is how deep a person's own lowering can take the nozzle, mm: the
// floor at the zero place, 0.5 mm below where the bed is expected, and what a probe
// may be wrong there before it shows.
const deepestEver = 0.6

// inBubble plays f in a bubble of simulated time with a state directory.
func inBubble(t *testing.T, f func(t *testing.T, dir string)) {
	t.Helper()
	bubble(t, memoryDir(t), f)
}

// bubble is inBubble with its directory. A bubble whose time does not go on, since a
// lock is held while something waits, is told: it would say nothing itself.
func bubble(t *testing.T, dir string, f func(t *testing.T, dir string)) {
	t.Helper()
	const stuck = 2 * time.Minute // of real time; the longest takes seconds
	name := t.Name()
	dog := time.AfterFunc(stuck, func() {
		panic(name + ": time does not go on in the bubble: a lock is held while something waits")
	})
	defer dog.Stop()
	synctest.Test(t, func(t *testing.T) { f(t, dir) })
}

// TestProofReadWithLevellingOn: a printer whose homing switches the levelling off.
// The person leaves in the middle of a proof, the machine homes again, and the
// reading is taken: it counts only if the levelling was on, as a proof claims.
func TestProofReadWithLevellingOn(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.HomeLevelsOff = true
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, sc, 2)
		defer s.close()
		applyWhole(t, s.world, s.hand)
		run, err := s.api.Prove(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		run = s.until(t, s.confirm(t, run).ID, inState(api.AwaitingGauge))
		time.Sleep(6 * time.Minute)
		run = s.onward(t, run)
		for _, u := range s.untrue(s.record(t, run.ID)) {
			t.Error(u)
		}
		if !s.printer.Safety().Levelling && !s.owes(t, "levelling") {
			t.Errorf("the levelling was on before the proof; it is off, and not owed (%q)", run.Sentence)
		}
		s.sound(t)
	})
}

// TestReadingsWithLevellingOff: the levelling is off before the run, and homing
// switches it on. No touch and no reading is taken with it on, also not after the
// person was away and the machine homed again; afterwards it is off as before.
func TestReadingsWithLevellingOff(t *testing.T) {
	sc := lookup(t, "twist-level")
	sc.LevelledStart, sc.HomeLevelsOn = false, true
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, sc, 2)
		defer s.close()
		run := s.until(t, s.confirmed(t, "gauging").ID, inState(api.AwaitingGauge))
		time.Sleep(6 * time.Minute)
		run = s.onward(t, run)
		if run.State != api.Done {
			t.Errorf("the run %s: %s", run.State, run.Sentence)
		}
		for i, u := range s.untrue(s.record(t, run.ID)) {
			if t.Error(u); i == 4 {
				break
			}
		}
		if s.printer.Safety().Levelling {
			t.Error("the levelling was off before the run; it is on")
		}
		s.sound(t)
	})
}

// TestProofPutsLevellingBack: the levelling was off before a proof, and the proof
// comes to no good end: past the floor, by a stop, by the end of the program. The
// levelling is off again, or that is owed and said.
func TestProofPutsLevellingBack(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(t *testing.T, s *stage, id string){
		"past the floor": func(t *testing.T, s *stage, id string) {
			run, err := s.api.Run(t.Context(), id)
			if err != nil {
				t.Fatal(err)
			}
			s.onward(t, run)
		},
		"the program ends": func(t *testing.T, s *stage, _ string) { s.end(); s.running.Wait() },
	} {
		t.Run(name, func(t *testing.T) {
			sc := lookup(t, "twist-level")
			sc.LevelledStart = false
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, sc, 2)
				defer s.close()
				applyWhole(t, s.world, s.hand)
				if s.printer.Safety().Levelling {
					t.Skip("applying switches the levelling on")
				}
				s.printer.Shift(0.4) // behind abbed's back: the nozzle stays clear of the bed
				run, err := s.api.Prove(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				run = s.until(t, s.confirm(t, run).ID, inState(api.AwaitingGauge))
				end(t, s, run.ID)
				if on := s.printer.Safety().Levelling; on && (name == "the program ends" || !s.owes(t, "levelling")) {
					t.Error("the levelling was off before the proof; it is on, and not owed")
				}
				s.sound(t)
			})
		})
	}
}

// TestLateNoMovesOnlyHomed: a question is answered no after the printer's motors
// have let go. What moves after the next question, answered in time, homes first.
func TestLateNoMovesOnlyHomed(t *testing.T) {
	sc := lookup(t, "beam-twist")
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, sc, 3, smaller)
		defer s.close()
		run := s.confirmed(t, "gauging", "survey", "plate-turn", "angles")
		for !run.State.Over() && !asks("plate-turn-180")(run) {
			if run = s.until(t, run.ID, inState(api.AwaitingGauge, api.AwaitingNext, api.AwaitingPerson)); !run.State.Over() && !asks("plate-turn-180")(run) {
				if err := s.hand.Act(t.Context(), run); err != nil {
					t.Fatal(err)
				}
			}
		}
		time.Sleep(5 * time.Hour)
		homes := s.printer.Safety().Homes
		v := 0.1
		for k := 0; !run.State.Over() && k < 4; k++ {
			a := api.AnswerPrompt{Prompt: run.Prompt.ID, Answer: "no"}
			if run.Prompt.Value != nil {
				a.Answer, a.Value = "yes", &v
			}
			if err := s.api.Answer(t.Context(), run.ID, a); err != nil {
				t.Fatal(err)
			}
			was := run.Prompt.ID
			run = s.until(t, run.ID, func(r api.Run) bool { return r.Prompt != nil && r.Prompt.ID != was })
		}
		if s.printer.Safety().Homes == homes {
			t.Errorf("it moved on to %+v without homing, five hours after it last moved", run.Prompt)
		}
		s.sound(t)
		_, _ = s.api.Stop(t.Context())
	})
}

// TestNextQuestionTimesOutToo: a question was answered late; the next one is given
// the same patience, and what moves after it homes first.
func TestNextQuestionTimesOutToo(t *testing.T) {
	sc := lookup(t, "beam-twist")
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, sc, 3, smaller)
		defer s.close()
		v := 0.01
		answer := func(run api.Run, value float64) {
			t.Helper()
			a := api.AnswerPrompt{Prompt: run.Prompt.ID, Answer: "yes", Value: &value}
			if run.Prompt.Value == nil {
				a.Value = nil
			}
			if err := s.api.Answer(t.Context(), run.ID, a); err != nil {
				t.Fatal(err)
			}
		}
		run := s.until(t, s.confirmed(t, "reference").ID, asks("reference-straight"))
		answer(run, v)
		run = s.until(t, run.ID, asks("reference-laid"))
		time.Sleep(7 * time.Minute)
		answer(run, 0.5)
		run = s.until(t, run.ID, asks("reference-away"))
		homes := s.printer.Safety().Homes
		time.Sleep(5 * time.Hour) // the motors have let go
		answer(run, 0)
		run = s.until(t, run.ID, asks("reference-straight"))
		answer(run, v)
		run = s.until(t, run.ID, asks("reference-laid"))
		answer(run, 0.5)
		s.until(t, run.ID, func(r api.Run) bool { return r.Touches > 2 || r.Prompt != nil && r.Prompt.ID == "reference-away" })
		if s.printer.Safety().Homes == homes {
			t.Error("the machine moved on without homing, five hours after it last moved")
		}
		s.sound(t)
		if _, err := s.api.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

// TestLyingProbe: a probe that lies from a gauging place on does not have the
// nozzle driven into the bed, whatever the lie.
func TestLyingProbe(t *testing.T) {
	t.Parallel()
	off := &bench.Disc{U: 172.5, V: 117.5, R: 25}
	for name, c := range map[string]struct {
		lie   bench.Lie
		after int // readings before it begins
	}{
		"each pair lower than the last":       {bench.Lie{Kind: bench.LiePairs, Size: 3.5}, 1},
		"each pair lower, by less":            {bench.Lie{Kind: bench.LiePairs, Size: 0.8}, 1},
		"a jump after two readings":           {bench.Lie{Kind: bench.LieConstant, Size: -3}, 2},
		"a jump of less":                      {bench.Lie{Kind: bench.LieConstant, Size: -1.5}, 4},
		"half of the touches off":             {bench.Lie{Kind: bench.LieShare, Share: 0.5, Size: -1.4}, 1},
		"a third of the touches off":          {bench.Lie{Kind: bench.LieShare, Share: 0.35, Size: -2.4}, 2},
		"each touch lower than the last":      {bench.Lie{Kind: bench.LieRamp, Size: -0.9}, 1},
		"over one place":                      {bench.Lie{Kind: bench.LieConstant, Size: -2.5, Where: off}, 1},
		"the other sign":                      {bench.Lie{Kind: bench.LieScale, Size: 20}, 1},
		"it warms up":                         {bench.Lie{Kind: bench.LieWarm, Size: -3.5}, 2},
		"every other touch":                   {bench.Lie{Kind: bench.LieAlternating, Size: -2.9}, 2},
		"one touch in some, two in a row too": {bench.Lie{Kind: bench.LieWild, Every: 2, Size: -3.2}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			sc := lookup(t, "twist-level")
			sc.Tilt = [2]float64{0.6e-3, 0.4e-3}
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, sc, 2)
				defer s.close()
				told := false
				s.hand.Seen = func(r api.Run) {
					if r.Gaugings >= c.after && !told {
						told = true
						s.printer.Tell(&c.lie)
					}
				}
				run, err := s.hand.Measure(t.Context(), "gauging", "survey")
				if err != nil {
					t.Logf("the person: %v", err)
				}
				t.Logf("%s: %s", run.State, run.Sentence)
				s.sound(t)
				_, _ = s.api.Stop(t.Context())
			})
		})
	}
}

// TestStraightProbeThatTriggersLate: a straight probe that triggers a little later at
// each touch has no probing move go into the bed: how far down it may go rests on
// what the whole run says of the place, not on the touch before.
func TestStraightProbeThatTriggersLate(t *testing.T) {
	for name, lie := range map[string]bench.Lie{
		"a ramp":         {Kind: bench.LieRamp, From: 3, Size: -0.3},
		"pairs":          {Kind: bench.LiePairs, From: 3, Size: 0.4},
		"never triggers": {Kind: bench.LieDeaf, From: 9},
	} {
		for _, steps := range [][]string{{"repeat"}, {"gauging"}} {
			t.Run(name+" in "+steps[0], func(t *testing.T) {
				inBubble(t, func(t *testing.T, dir string) {
					s := onStage(t, dir, lookup(t, "straight-probe"), 3)
					defer s.close()
					s.printer.Tell(&lie)
					run, err := s.hand.Measure(t.Context(), steps...)
					t.Logf("%s: %s %v", run.State, run.Sentence, err)
					s.sound(t)
					_, _ = s.api.Stop(t.Context())
				})
			})
		}
	}
}

// TestHomingThatErrsAfterAnAbsence: the person was away, the machine homes again, and
// its probe triggers half a millimetre later than before, at the homing as at every
// touch. No touch can tell; so the first arrival after a homing is as wide as the
// first of a run, however much is known.
func TestHomingThatErrsAfterAnAbsence(t *testing.T) {
	for readings, steps := range map[int][]string{1: {"gauging"}, 3: {"gauging", "survey"}, 7: {"gauging", "survey"}} {
		t.Run(fmt.Sprint(readings), func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, lookup(t, "twist-level"), 3)
				defer s.close()
				run := s.confirmed(t, steps...)
				for run.Gaugings < readings || run.State != api.AwaitingNext {
					if run = s.until(t, run.ID, inState(api.AwaitingGauge, api.AwaitingNext)); run.Gaugings >= readings && run.State == api.AwaitingNext {
						break
					}
					if err := s.hand.Act(t.Context(), run); err != nil {
						t.Fatal(err)
					}
				}
				s.printer.Tell(&bench.Lie{Kind: bench.LieConstant, Size: -0.5, Home: true})
				time.Sleep(7 * time.Minute)
				run = s.until(t, s.pressed(t, run).ID, inState(api.AwaitingGauge))
				s.sound(t)
				_, _ = s.api.Stop(t.Context())
			})
		})
	}
}

// pressed has the person press next.
func (s *stage) pressed(t *testing.T, run api.Run) api.Run {
	t.Helper()
	if err := s.hand.Gauge(t.Context(), run.ID, api.GaugeAction{Action: "next"}); err != nil {
		t.Fatal(err)
	}
	return run
}

// TestNextIsAnsweredAtOnce: the press of next is answered at once with the run,
// while the machine goes on; also while the run asks something.
func TestNextIsAnsweredAtOnce(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*config.Settings){
		"thorough": func(c *config.Settings) { smaller(c); c.Gauging.Plan = config.PlanThorough },
		"normal":   smaller,
		"a later run, with questions": func(c *config.Settings) {
			smaller(c)
			c.Gauging.Columns, c.Gauging.Rows, c.Gauging.Records = 4, 2, 1
			c.Gauging.Plan, c.Gauging.Target = config.PlanThorough, 0.003
		},
	} {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, lookup(t, "twist-curved"), 4, change)
				defer s.close()
				s.hand.Answer = demo.GaugesMore(4)
				later := strings.HasPrefix(name, "a later")
				run := api.Run{}
				if later {
					first, err := s.hand.Measure(t.Context(), "repeat", "gauging", "survey")
					if err == nil {
						run, err = s.api.Start(t.Context(), api.NewRun{Steps: []string{"gauging"}, For: first.ID})
					}
					if err != nil {
						t.Fatal(err)
					}
					s.confirm(t, run)
				} else {
					run = s.confirmed(t, "gauging", "survey")
				}
				longest, asked := time.Duration(0), 0
				for {
					run = s.until(t, run.ID, inState(api.AwaitingGauge, api.AwaitingNext, api.AwaitingPerson))
					if run.State.Over() || run.Step == "survey" {
						break
					}
					if run.State == api.AwaitingPerson {
						asked++
					}
					if run.State != api.AwaitingNext {
						if err := s.hand.Act(t.Context(), run); err != nil {
							t.Fatal(err)
						}
						continue
					}
					began := time.Now()
					done := make(chan error, 1)
					go func() { done <- s.hand.Act(t.Context(), run) }()
					for pending := true; pending; {
						select {
						case err := <-done:
							pending = false
							if err != nil {
								t.Error(err)
							}
						case <-time.After(time.Second):
							now, err := s.api.Run(t.Context(), run.ID)
							if err == nil && now.State == api.AwaitingPerson {
								t.Errorf("next is not answered after %v while the run asks %q", time.Since(began), now.Prompt.ID)
								asked++
								_ = s.hand.Act(t.Context(), now)
							}
						}
					}
					longest = max(longest, time.Since(began))
				}
				if longest > 2*time.Second {
					t.Errorf("next was answered after %v at the longest, 2 s at most", longest)
				}
				if later && asked < 2 {
					t.Errorf("%d questions; two at least are wanted for this test", asked)
				}
				_, _ = s.api.Stop(t.Context())
			})
		})
	}
}
