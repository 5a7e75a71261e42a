package e2e_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/bench/mechanics"
	"abbed/probe/record"
)

func degrees(d float64) float64 { return d * math.Pi / 180 }

// curvedHead is a printer whose head rolls with an S shape and a bow, whose
// carriage way sags, whose carrier and plate have shapes of their own: what each
// way of seeing shows is known.
func curvedHead(t *testing.T) (sc bench.Scenario, plate, carrier mechanics.Shape) {
	sc, err := bench.Lookup("true-shape")
	if err != nil {
		t.Fatal(err)
	}
	scaled := func(x float64) float64 { return (x - 117.5) / 117.5 }
	sc.Roll = func(x float64) float64 { q := scaled(x); return degrees(0.30*q + 0.12*q*q) }
	sc.Straight = func(x float64) float64 { q := scaled(x); return 0.080 * (1 - q*q) }
	plate = func(u, v float64) float64 {
		q, s := scaled(u), scaled(v)
		return 0.060*(5*q*q*q-3*q)/2 + 0.040*q*s + 0.050*q*q
	}
	carrier = func(u, v float64) float64 {
		q, s := scaled(u), scaled(v)
		return 0.030*(5*q*q*q-3*q)/2 - 0.025*q*s
	}
	sc.Shape = mechanics.Sum(plate, carrier)
	return sc, plate, carrier
}

func told(t *testing.T, a api.Analysis, what string, want float64) {
	t.Helper()
	i := slices.IndexFunc(a.Tells, func(x api.Tell) bool { return x.What == what })
	if i < 0 {
		t.Errorf("%s is not among what can be told", what)
		return
	}
	x := a.Tells[i]
	if x.Value == nil || len(x.By) == 0 {
		t.Errorf("%s is not told: %s %s", what, x.Text, x.Next)
		return
	}
	u95 := (x.Value.Hi95 - x.Value.Lo95) / 2
	t.Logf("%s by %v: %.4f ±%.4f, truly %.4f: %s", what, x.By, x.Value.Value, u95, want, x.Text)
	if math.Abs(x.Value.Value-want) > 1.3*u95 || u95 > 0.08 {
		t.Errorf("%s: %.4f ±%.4f, truly %.4f", what, x.Value.Value, u95, want)
	}
}

// TestWaysOverTheWire: the plate is turned by a half and a quarter, a straight
// reference is laid, and what they add comes out as the bench made it.
func TestWaysOverTheWire(t *testing.T) {
	t.Parallel()
	sc, plate, carrier := curvedHead(t)
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 5})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(5, 2)), Name: "the played person"}
		tilt := func(u, v float64) float64 { return 0.0002*(u-117.5) - 0.0001*(v-117.5) + 0.02 }
		lay := func(s mechanics.Shape) { printer.Lay(s) }
		var asked []string
		p.Answer = func(q api.Prompt) (bool, *float64) {
			if !strings.HasPrefix(q.ID, "more-places") { // where the doubt is too wide still
				asked = append(asked, q.ID)
			}
			v := 0.0
			switch q.ID {
			case "plate-turn-180":
				lay(mechanics.Sum(mechanics.Turned(sc.Bed, plate, 2), carrier, tilt))
			case "plate-turn-90":
				lay(mechanics.Sum(mechanics.Turned(sc.Bed, plate, 1), carrier, tilt))
			case "plate-back", "reference-away":
				lay(sc.Shape)
			case "reference-straight":
				v = 0.012
			case "reference-laid":
				v = 1.0
				if q.Value == nil || q.Value.Most < v {
					t.Errorf("a reference of %.1f mm is not taken: %+v", v, q.Value)
				}
				lay(mechanics.Bar(sc.Bed, sc.Shape, 157.5, 0, 235, 24, 1.0, 0))
			}
			if q.Value != nil {
				return true, &v
			}
			return true, nil
		}
		run, err := p.Measure(t.Context(), "reference", "repeat", "gauging", "survey", "plate-turn")
		if err != nil || run.State != api.Done {
			t.Fatalf("%s, %v: %s", run.State, err, run.Sentence)
		}
		if got := strings.Join(asked, " "); got != "plate-turn-180 plate-turn-90 plate-back reference-straight reference-laid reference-away" {
			t.Errorf("asked: %s", got)
		}
		o := &ask.Outcome{Run: run}
		if err := o.Read(t.Context(), w.api); err != nil {
			t.Fatal(err)
		}
		var rec record.Run
		if err := json.Unmarshal(o.Record, &rec); err != nil {
			t.Fatal(err)
		}
		for _, n := range rec.Notes {
			t.Log("note: ", n)
		}
		for _, f := range o.Analysis.Findings {
			t.Logf("%s: %s | %s | %s", f.ID, f.Sentence, f.Evidence, f.Doubt)
		}
		told(t, o.Analysis, "plate-shape", 0.060)
		told(t, o.Analysis, "plate-twist", 0.040)
		// On the row of the reference, from its first column to its last; the
		// map shows -(EZX + D), D = 45 sin a.
		bow := func(f func(x float64) float64) float64 {
			return f(117.5) - (f(8)+f(227))/2
		}
		told(t, o.Analysis, "machine-bend", bow(func(x float64) float64 { return -sc.Straight(x) - 45*math.Sin(sc.Roll(x)) }))
		told(t, o.Analysis, "straightness", bow(sc.Straight))
		told(t, o.Analysis, "bed-bend", bow(func(x float64) float64 { return sc.Shape(x, 157.5) }))
		truth := printer.Truth()
		points := [][2]float64{{30, 117.5}, {80, 117.5}, {160, 60}, {200, 190}}
		gaps, err := w.api.Gap(t.Context(), run.ID, points)
		if err != nil {
			t.Fatal(err)
		}
		for i, g := range gaps {
			want := truth.Gap(points[i][0], points[i][1])
			if g.Gap == nil || math.Abs(*g.Gap-want) > 1.5**g.U95 {
				t.Errorf("gap at %v: %+v, truly %.3f", points[i], g, want)
				continue
			}
			t.Logf("gap at %v: %.3f ±%.3f, truly %.3f", points[i], *g.Gap, *g.U95, want)
		}
		if s := printer.Safety(); s.LowTravel > 0 || s.Lowest < -0.2 {
			t.Errorf("unsafe: %+v", s)
		}
	})
}

// TestPrompts: a prompt waits with patience, refuses what cannot be, and ends
// with a stop like the gauging.
func TestPrompts(t *testing.T) {
	sc, _, _ := curvedHead(t)
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 6})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ctx := t.Context()
		var run api.Run
		err := client.Patiently(ctx, func() error {
			_, err := w.api.StartRun(ctx, "plate-turn")
			return err
		})
		if e := (*api.Error)(nil); !errors.As(err, &e) || e.Code != "step-alone" {
			t.Errorf("plate-turn without a survey: %v", err)
		}
		err = client.Patiently(ctx, func() (err error) {
			run, err = w.api.StartRun(ctx, "reference")
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		how := api.Confirm{Person: "the played person"}
		for _, c := range run.Cautions {
			how.Cautions = append(how.Cautions, c.ID)
		}
		if err := w.api.Confirm(ctx, run.ID, how); err != nil {
			t.Fatal(err)
		}
		asks := func(id string) func(api.Run) bool {
			return func(r api.Run) bool { return r.State.Over() || r.Prompt != nil && r.Prompt.ID == id }
		}
		run, err = w.api.Wait(ctx, run.ID, asks("reference-straight"))
		if err != nil || run.State != api.AwaitingPerson || run.Prompt.Value == nil {
			t.Fatalf("%+v, %v", run, err)
		}
		refused := func(code string, a api.AnswerPrompt) {
			t.Helper()
			var e *api.Error
			if err := w.api.Answer(ctx, run.ID, a); !errors.As(err, &e) || e.Code != code {
				t.Errorf("%+v: %v, want %s", a, err, code)
			}
		}
		v := func(x float64) *float64 { return &x }
		refused("unknown-prompt", api.AnswerPrompt{Prompt: "another", Answer: "no"})
		refused("bad-value", api.AnswerPrompt{Prompt: "reference-straight", Answer: "yes"})
		refused("bad-value", api.AnswerPrompt{Prompt: "reference-straight", Answer: "yes", Value: v(3)})
		homes := printer.Safety().Homes
		time.Sleep(7 * time.Minute) // a bubble's time: the person is away
		if err := w.api.Answer(ctx, run.ID, api.AnswerPrompt{Prompt: "reference-straight", Answer: "yes", Value: v(0.01)}); err != nil {
			t.Fatal(err)
		}
		if run, err = w.api.Wait(ctx, run.ID, asks("reference-laid")); err != nil || run.State != api.AwaitingPerson {
			t.Fatalf("%+v, %v", run, err)
		}
		if got := printer.Safety().Homes; got <= homes {
			t.Errorf("homed %d times, %d before the person was away", got, homes)
		}
		// Nobody knows how a reference lies that was laid by somebody who went
		// away: it is taken off before the machine homes.
		time.Sleep(7 * time.Minute)
		homes = printer.Safety().Homes
		if err := w.api.Answer(ctx, run.ID, api.AnswerPrompt{Prompt: "reference-laid", Answer: "yes", Value: v(0.5)}); err != nil {
			t.Fatal(err)
		}
		if run, err = w.api.Wait(ctx, run.ID, asks("reference-away")); err != nil || run.State != api.AwaitingPerson {
			t.Fatalf("%+v, %v", run, err)
		}
		if got := printer.Safety().Homes; got != homes {
			t.Error("the machine homed over a reference")
		}
		if _, err := w.api.Stop(ctx); err != nil {
			t.Fatal(err)
		}
		if run, err = w.api.Wait(ctx, run.ID, func(r api.Run) bool { return r.State.Over() }); err != nil || run.State != api.Stopped {
			t.Errorf("%s, %v", run.State, err)
		}
		refused("wrong-state", api.AnswerPrompt{Prompt: "reference-away", Answer: "yes"})
	})
}
