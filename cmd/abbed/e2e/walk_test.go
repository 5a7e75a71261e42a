package e2e_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"abbed/cmd/abbed/ask"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/web/webtest"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

var (
	walks       = flag.Int("walks", often(15, 4), "how many walks over a run TestWalkRun makes, some forty steps each")
	walksBut    = flag.String("walks.but", "", "kinds of breaches, with commas between, that the walks leave out: to see what is behind one that is known")
	walksAll    = flag.Int("walks.all", 0, "how many walks TestWalkTally makes to their end, to tell all kinds of breaches")
	walksKind   = flag.String("walks.kind", "", "the kind of breach for which TestWalkTally looks for as short a walk as shows it")
	walksHonest = flag.Bool("walks.honest", false, "leave the lies of the probe out of the walks of TestWalkTally")
	walksFrom   = flag.Int("walks.from", 1, "the walk with which TestWalkTally begins")
	walksOne    = flag.Uint64("walks.one", 0, "the one walk of TestWalkTally to make, with all that is said on the line")
)

// walker plays one walk over runs at the house: a person who does anything, a
// printer that does what printers do, and a probe that lies.
type walker struct {
	*stage
	t     *testing.T
	m     wild
	rnd   *rand.Rand
	timed *client.Client // sees to it that answers come in time

	run    string
	before bench.Safety // when the run was confirmed
	lost   bool         // the board restarted or halted since
	mends  bool         // what was owed was put back, which homes first
	deaf   bool         // the probe was made not to trigger at all
	tally  *walkTally
	judged map[string]bool
	halts  int // of the machine, that somebody or something asked for
	steps  int

	mu       sync.Mutex
	breaches map[string]string // the first of each kind
}

// walkTally counts what the walks came to, so that one in which nothing happens is
// noticed.
type walkTally struct {
	Steps, Runs, Done, Failed, Stopped, Proofs, Touches, Readings, Answers, Homes, Contacts int
}

// breach keeps the first of a kind.
func (w *walker) breach(kind, text string, args ...any) {
	if slices.Contains(strings.Split(*walksBut, ","), kind) {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, is := w.breaches[kind]; !is {
		w.breaches[kind] = fmt.Sprintf("step %d: ", w.steps) + fmt.Sprintf(text, args...)
	}
}

// punctual holds every answer to its time.
type punctual struct {
	w    *walker
	next http.RoundTripper
}

// aftermath is for how long a fault of the line may still hold an answer up, s: a
// printer may be busy for five minutes.
const aftermath = 360

// promptly is within which a request is answered unless the machine moves.
const promptly = 2 * time.Second

func (p punctual) RoundTrip(req *http.Request) (*http.Response, error) {
	if strings.HasSuffix(req.URL.Path, "/events") {
		return p.next.RoundTrip(req)
	}
	what := req.Method + " " + req.URL.Path[strings.LastIndex(req.URL.Path, "/")+1:]
	if req.GetBody != nil {
		if r, err := req.GetBody(); err == nil {
			var a api.GaugeAction
			b, _ := io.ReadAll(r)
			if json.Unmarshal(b, &a) == nil && a.Action != "" {
				what += " " + a.Action
			}
		}
	}
	printer, struck := p.w.printer, p.w.printer.LastStrike() < aftermath || p.w.printer.Muted()
	began := time.Now()
	res, err := p.next.RoundTrip(req)
	took := time.Since(began)
	struck = struck || printer.LastStrike() < took.Seconds()+aftermath || printer.Muted()
	still := time.Duration(printer.Still() * float64(time.Second))
	switch {
	case took <= promptly:
	case strings.HasSuffix(what, " next"):
		p.w.breach("next-late", "%s was answered after %.1f s", what, took.Seconds())
	case !struck && min(took, still) > promptly:
		p.w.breach("answer-late", "%s was answered after %.1f s, the machine had stood still for %.1f s", what, took.Seconds(), still.Seconds())
	case struck && took > 10*time.Minute:
		p.w.breach("answer-late-silent", "%s was answered after %.1f s, beside a printer that gives no answer", what, took.Seconds())
	}
	// A line that nobody used for two minutes may close just then.
	if err != nil && req.Context().Err() == nil && !strings.Contains(err.Error(), "server closed idle connection") {
		p.w.breach("no-answer", "%s: %v", what, err)
	}
	if res != nil && res.StatusCode == 500 {
		b, _ := io.ReadAll(res.Body)
		res.Body = io.NopCloser(bytes.NewReader(b))
		p.w.breach("internal", "%s: %s", what, b)
	}
	return res, err
}

// walk plays a script and returns the breaches.
func walk(t *testing.T, dir string, base bench.Scenario, m wild, script []deed, tally *walkTally) (breaches map[string]string) {
	sc := m.scenario(base)
	w := &walker{t: t, m: m, tally: tally, rnd: rand.New(rand.NewPCG(m.Seed, 5)), judged: map[string]bool{}, breaches: map[string]string{}}
	w.stage = &stage{sc: sc, began: time.Now(), printer: bench.New(sc, bench.Options{Seed: m.Seed})}
	w.stage.again(t, dir, m.set)
	defer w.close()
	w.punctually(t)
	defer func() {
		s := w.printer.Safety()
		tally.Steps, tally.Homes, tally.Contacts = tally.Steps+w.steps, tally.Homes+s.Homes, tally.Contacts+len(s.Contacts)
	}()
	if m.proves() && !w.correct() {
		return nil
	}
	w.begin()
	for _, d := range script {
		w.steps++
		w.deed(d)
		w.look(d.String())
		if len(w.breaches) > 0 && *walksAll == 0 {
			return w.breaches
		}
	}
	w.finish()
	return w.breaches
}

// punctually has the person use a client that looks at the clock.
func (w *walker) punctually(t *testing.T) {
	token, err := os.ReadFile(w.house.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	next := w.transport.(http.RoundTripper)
	checked := &webtest.Transport{Next: next, Fail: func(err error) {
		text := err.Error()
		w.breach("description", "%s ... %s", text[:min(120, len(text))], text[max(0, len(text)-300):])
	}}
	w.timed = client.New(w.house.URL(), strings.TrimSpace(string(token))).Over(punctual{w, checked})
	w.hand.API = w.timed
	w.hand.Rnd = w.rnd
}

// correct measures the machine and applies its correction, so that there is one to
// be proved; the printer is honest meanwhile.
func (w *walker) correct() bool {
	ctx, cancel := context.WithTimeout(w.t.Context(), 12*time.Hour)
	defer cancel()
	o := &ask.Outcome{}
	var err error
	if o.Run, err = w.hand.Measure(ctx, "repeat", "gauging", "survey"); err != nil {
		return false
	}
	if err := o.Read(ctx, w.api); err != nil || o.Table.Digest == nil {
		return false
	}
	return w.hand.Apply(ctx, o) == nil
}

// begin starts a run, if it may, and confirms it.
func (w *walker) begin() {
	ctx, cancel := context.WithTimeout(w.t.Context(), 20*time.Minute)
	defer cancel()
	w.tidy(ctx)
	var r api.Run
	err := client.Patiently(ctx, func() (err error) {
		if w.m.proves() {
			r, err = w.timed.Prove(ctx)
			return err
		}
		ask := api.NewRun{Steps: w.m.Steps}
		if w.m.Bed > 0 {
			ask.Heat = &api.Heat{Bed: &w.m.Bed}
		}
		r, err = w.timed.Start(ctx, ask)
		return err
	})
	if err != nil {
		if *walksAll > 0 {
			w.t.Logf("no run: %v", err)
		}
		return
	}
	w.run = r.ID
	w.tally.Runs++
	how := api.Confirm{Person: "anybody", Gauge: &w.m.Blade}
	for _, c := range r.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	w.before, w.lost = w.printer.Safety(), false
	_ = w.timed.Confirm(ctx, r.ID, how)
	w.calm(nil)
}

// tidy is what a person does before another run: looks at a printer that gives no
// answer, and has put back what is owed. No run begins before.
func (w *walker) tidy(ctx context.Context) {
	p := w.house.Daemon.Printer()
	if p.Link != api.Ready {
		w.printer.Calm()
		w.printer.Restart()
		w.cable.pull(false)
		time.Sleep(40 * time.Second)
		p = w.house.Daemon.Printer()
	}
	for k := 0; len(p.Owed) > 0 && k < 3; k++ {
		if _, err := w.timed.StartRun(ctx, "repeat"); err == nil {
			w.breach("run-while-owed", "a run was accepted while %v is owed", p.Owed)
			w.halts++
			_, _ = w.timed.Stop(ctx)
		}
		w.mends = true
		_ = w.timed.Resolve(ctx, "finish")
		time.Sleep(2 * time.Minute)
		p = w.house.Daemon.Printer()
	}
}

// now is the run as it stands.
func (w *walker) now() (api.Run, bool) {
	r, err := w.house.Daemon.Run(w.run)
	return r, err == nil
}

// calm lets time pass until the run waits for somebody, or a quarter of an hour has
// gone; busy says not to.
func (w *walker) calm(d *deed) {
	if d != nil && d.Busy {
		time.Sleep(700 * time.Millisecond)
		return
	}
	for range 1800 {
		if r, ok := w.now(); !ok || r.State != api.Running {
			return
		}
		time.Sleep(500 * time.Millisecond)
	}
}

// deed does one thing.
func (w *walker) deed(d deed) {
	ctx, cancel := context.WithTimeout(w.t.Context(), 30*time.Minute)
	defer cancel()
	if r, ok := w.now(); !ok || r.State.Over() {
		w.begin()
	}
	defer w.calm(&d)
	switch d.Do {
	case "work":
		for k := 0; k < d.N && w.work(ctx); k++ {
			w.calm(nil)
			w.look("work")
		}
	case "down":
		for k := 0; k < 15 && w.press(ctx, "loose") == nil; k++ {
		}
	case "leave":
		time.Sleep(time.Duration(d.N) * time.Minute)
	case "leave long":
		time.Sleep(5 * time.Hour)
	case "wait":
		time.Sleep(time.Duration(d.N) * time.Second)
	case "two":
		var both sync.WaitGroup
		for _, do := range d.Two {
			both.Go(func() { w.request(ctx, do) })
		}
		both.Wait()
	case "lie":
		w.deaf = w.deaf || d.Lie.Kind == bench.LieDeaf
		w.printer.Tell(d.Lie)
	case "truth":
		w.printer.Tell(nil)
	case "restart":
		w.lost = true
		w.printer.Restart()
	case "pull":
		w.cable.pull(true)
		time.Sleep(2 * time.Second)
		w.cable.pull(false)
	case "mute":
		w.printer.Mute(d.At, float64(d.N))
	case "deafen":
		w.printer.Deafen(d.At, float64(d.N))
	case "late":
		w.printer.Late(d.At, float64(d.N))
	case "fault":
		f, err := bench.ParseFault(d.At)
		if err != nil {
			panic(err)
		}
		if f.Name == "halt" {
			w.halts++
		}
		w.printer.Inject(f)
	default:
		w.request(ctx, d.Do)
	}
}

// request asks one thing of the house, whatever its state.
func (w *walker) request(ctx context.Context, do string) {
	switch do {
	case "work":
		w.work(ctx)
	case "answer", "wrong prompt":
		a := api.AnswerPrompt{Prompt: "another", Answer: "no"}
		if r, ok := w.now(); ok && r.Prompt != nil && do == "answer" {
			a.Prompt, a.Answer = r.Prompt.ID, []string{"yes", "no"}[w.rnd.IntN(2)]
			if v := w.value(r.Prompt); r.Prompt.Value != nil && a.Answer == "yes" {
				a.Value = &v
			}
		}
		_ = w.timed.Answer(ctx, w.run, a)
	case "stop":
		w.lost = true
		w.halts++
		_, _ = w.timed.Stop(ctx)
	case "withdraw":
		_ = w.timed.Withdraw(ctx, w.run)
	case "start":
		if r, ok := w.now(); ok && !r.State.Over() {
			if _, err := w.timed.StartRun(ctx, "repeat"); err == nil {
				if r, ok := w.now(); ok && !r.State.Over() {
					w.breach("second-run", "a second run began while one is %s", r.State)
				}
			}
		}
	case "undo":
		if !w.m.proves() {
			_ = w.timed.Undo(ctx)
		}
	case "reapply":
		if !w.m.proves() {
			_ = w.timed.Reapply(ctx)
		}
	case "resolve":
		w.mends = true
		_ = w.timed.Resolve(ctx, "finish")
	case "look":
		_, _ = w.timed.Printer(ctx)
		_, _ = w.timed.Run(ctx, w.run)
		_, _ = w.timed.Applied(ctx)
		_, _ = w.timed.Runs(ctx)
	default:
		_ = w.press(ctx, do)
	}
}

// value is what somebody may answer.
func (w *walker) value(q *api.Prompt) float64 {
	if q.Value == nil {
		return 0
	}
	return q.Value.Least + w.rnd.Float64()*(q.Value.Most-q.Value.Least)
}

// press does one thing at the gauge.
func (w *walker) press(ctx context.Context, do string) error {
	_, err := w.timed.Gauge(ctx, w.run, api.GaugeAction{Action: do})
	return err
}

// work does what a person who knows how does where the run stands: feels the gauge,
// which the printer's truth drags, and answers what is asked. False if there is
// nothing to do.
func (w *walker) work(ctx context.Context) bool {
	r, ok := w.now()
	if !ok || r.State != api.AwaitingGauge && r.State != api.AwaitingNext && r.State != api.AwaitingPerson {
		return false
	}
	w.hand.Answer = func(q api.Prompt) (bool, *float64) {
		v := w.value(&q)
		if q.Value == nil {
			return true, nil
		}
		return true, &v
	}
	return w.hand.Act(ctx, r) == nil
}

// finish ends the walk: what runs is stopped, and all is looked at once more.
func (w *walker) finish() {
	ctx, cancel := context.WithTimeout(w.t.Context(), 30*time.Minute)
	defer cancel()
	w.printer.Tell(nil)
	w.printer.Calm()
	if r, ok := w.now(); ok && !r.State.Over() {
		w.lost = true
		w.halts++
		_, _ = w.timed.Stop(ctx)
	}
	w.calm(nil)
	time.Sleep(5 * time.Second)
	w.look("the end")
}

// grace is within which a program cannot know yet that the board restarted.
const grace = 0.3

// look holds what the printer saw against what must be.
func (w *walker) look(after string) {
	for _, v := range w.printer.Violations() {
		switch {
		case v.Kind == bench.KindUnhomed && v.Since < grace && (v.Why == "a restart" || v.Why == "a halt"):
			continue
		case v.Kind == bench.KindUnlimited && v.Act == bench.ActHoming && w.mends:
			continue
		case v.Kind == bench.KindContact && v.Act != bench.ActTravel && v.Act != bench.ActArrival && w.deaf && !w.m.Straight:
			continue // the printer's own word drives on where its probe does not trigger
		}
		kind := v.Kind + "-" + string(v.Act)
		if v.Kind == bench.KindUnhomed {
			kind = v.Kind + " after " + v.Why
		}
		w.breach(kind, "after %s: %v", after, v)
	}
	s := w.printer.Safety()
	if s.Halts > w.halts && !w.deaf {
		w.breach("halt-unasked", "after %s: the machine was halted %d times, %d were asked for", after, s.Halts, w.halts)
	}
	if d := s.Deepest(bench.ActLowering); d > deepestEver {
		w.breach("too-deep", "after %s: a lowering went %.3f mm into the bed", after, d)
	}
	r, ok := w.now()
	if !ok {
		return
	}
	if r.State == api.AwaitingGauge && r.Place != nil && s.Homed && s.Told[2] < r.Place.Floor-0.002 {
		w.breach("below-floor", "after %s: the nozzle is at z=%.4f, the floor is %.4f", after, s.Told[2], r.Place.Floor)
	}
	waits := r.State == api.AwaitingNext || r.State == api.AwaitingPerson
	if waits && !s.Limits && w.printer.Still() > 1 {
		w.breach("limits-off", "after %s: the run is %s, and the travel limits are off", after, r.State)
	}
	if r.State.Over() && !w.judged[r.ID] {
		w.judged[r.ID] = true
		w.over(r)
	}
}

// over judges a run that has ended: what it switched is back, or owed; each reading
// was made in the state that it claims.
func (w *walker) over(r api.Run) {
	time.Sleep(2 * time.Second)
	s, owed := w.printer.Safety(), w.house.Daemon.Printer().Owed
	text := fmt.Sprintf("the run %s (%s), owed %v", r.State, r.Sentence, owed)
	owes := func(what string) bool { return slices.Contains(owed, what) }
	if !s.Limits && !owes("limits") {
		w.breach("left-limits", "%s: the travel limits are off", text)
	}
	if s.Targets != [2]float64{} && !owes("heaters") {
		w.breach("left-heat", "%s: the heaters are at %v", text, s.Targets)
	}
	if !w.lost && s.Halts == w.before.Halts {
		if s.Levelling != w.before.Levelling && !owes("levelling") && !owes("levelling-off") {
			w.breach("left-levelling-"+onOff(s.Levelling), "%s: the levelling was %s before", text, onOff(w.before.Levelling))
		}
		if s.Idle != w.before.Idle && !owes("idle") {
			w.breach("left-idle", "%s: the idle switch-off is %v s, and was %v s", text, s.Idle, w.before.Idle)
		}
	}
	var run record.Run
	raw, err := w.api.Record(w.t.Context(), r.ID)
	if err == nil {
		err = json.Unmarshal(raw, &run)
	}
	if err != nil {
		var e *api.Error
		if !errors.As(err, &e) {
			w.breach("record", "%v", err)
		}
		return
	}
	w.tally.Touches, w.tally.Readings, w.tally.Answers = w.tally.Touches+len(run.Touches), w.tally.Readings+len(run.Gaugings), w.tally.Answers+len(run.Answers)
	switch {
	case r.State == api.Done && run.Proof != nil:
		w.tally.Proofs++
	case r.State == api.Done:
		w.tally.Done++
	case r.State == api.Failed:
		w.tally.Failed++
	default:
		w.tally.Stopped++
	}
	for _, u := range w.untrue(run) {
		kind, _, _ := strings.Cut(u, " ")
		w.breach("untrue-"+kind, "%s", u)
	}
}

// TestWalkRun has anybody do anything at any time in any run, beside printers that
// do what printers may, with a probe that lies. The printer is its own witness.
//
//	go test ./cmd/abbed/e2e -run TestWalkRun -walks 250
func TestWalkRun(t *testing.T) {
	base := lookup(t, "twist-level")
	n := *walks
	if testing.Short() {
		n = min(n, 3)
	}
	for name, value := range map[string]string{"rapid.checks": fmt.Sprint(n), "rapid.nofailfile": "true"} {
		if err := flag.Set(name, value); err != nil {
			t.Fatal(err)
		}
	}
	// The ordinary run makes the same walks for everybody; another number makes new ones.
	if n <= 40 && flag.Lookup("rapid.seed").Value.String() == "0" {
		if err := flag.Set("rapid.seed", "15"); err != nil {
			t.Fatal(err)
		}
	}
	var tally walkTally
	rapid.Check(t, func(rt *rapid.T) {
		m, script := drawWalk(rt)
		dir := memoryDir(t)
		var found map[string]string
		bubble(t, dir, func(t *testing.T, dir string) {
			found = walk(t, dir, base, m, script, &tally)
		})
		for _, k := range slices.Sorted(maps.Keys(found)) {
			rt.Errorf("%s: %s", k, found[k])
		}
	})
	t.Logf("%+v", tally)
	if n >= 15 && (tally.Done == 0 || tally.Stopped == 0 || tally.Failed == 0 || tally.Readings == 0 || tally.Answers == 0) {
		t.Errorf("too little happened: %+v", tally)
	}
}

func drawWalk(rt *rapid.T) (wild, []deed) {
	return drawWild(rt), rapid.SliceOfN(rapid.Custom(drawDeed), 25, 60).Draw(rt, "script")
}

// TestWalkTally makes many walks to their end and tells every kind of breach, with
// the walk that showed it first.
//
//	go test ./cmd/abbed/e2e -run TestWalkTally -walks.all 300
func TestWalkTally(t *testing.T) {
	if *walksAll == 0 && *walksOne == 0 {
		t.Skip("for looking: -walks.all")
	}
	base := lookup(t, "twist-level")
	type walkDrawn struct {
		m      wild
		script []deed
	}
	gen := rapid.Custom(func(rt *rapid.T) walkDrawn { m, s := drawWalk(rt); return walkDrawn{m, s} })
	first, shown := map[string]string{}, map[string][]uint64{}
	var tally walkTally
	from, to := uint64(*walksFrom), uint64(*walksFrom+*walksAll-1)
	if *walksOne > 0 {
		from, to = *walksOne, *walksOne
		*walksAll = 1
	}
	for seed := from; seed <= to; seed++ {
		d := gen.Example(int(seed))
		if *walksHonest {
			d.script = slices.DeleteFunc(d.script, func(d deed) bool { return d.Do == "lie" })
		}
		if *walksOne > 0 {
			t.Logf("%+v", d.m)
			for i, s := range d.script {
				t.Logf("%2d %v", i+1, s)
			}
		}
		dir := memoryDir(t)
		var found map[string]string
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			bubble(t, dir, func(t *testing.T, dir string) {
				found = walk(t, dir, base, d.m, d.script, &tally)
			})
		})
		if *walksKind != "" && found[*walksKind] != "" {
			shortest := ""
			d.m, d.script, shortest = shorter(t, base, d.m, d.script, *walksKind)
			t.Logf("%s, as short as it got: %s\n%+v", *walksKind, shortest, d.m)
			for i, s := range d.script {
				t.Logf("%2d %v", i+1, s)
			}
		}
		for k, text := range found {
			if shown[k] = append(shown[k], seed); first[k] == "" {
				first[k] = fmt.Sprintf("walk %d, %s", seed, text)
			}
		}
		_ = os.RemoveAll(dir)
	}
	for _, k := range slices.Sorted(maps.Keys(first)) {
		t.Errorf("%s (%d walks: %v): %s", k, len(shown[k]), shown[k][:min(12, len(shown[k]))], first[k])
	}
	t.Logf("%+v", tally)
}

// shorter leaves out of a walk what is not needed for a kind of breach.
func shorter(t *testing.T, base bench.Scenario, m wild, script []deed, kind string) (_ wild, _ []deed, says string) {
	shows := func(m wild, script []deed) bool {
		dir := memoryDir(t)
		var found map[string]string
		t.Run("shorter", func(t *testing.T) {
			bubble(t, dir, func(t *testing.T, dir string) { found = walk(t, dir, base, m, script, &walkTally{}) })
		})
		_ = os.RemoveAll(dir)
		if found[kind] != "" {
			says = found[kind]
		}
		return found[kind] != ""
	}
	for n := len(script) / 2; n >= 1; n /= 2 {
		for at := 0; at+n <= len(script); {
			if less := slices.Concat(script[:at], script[at+n:]); shows(m, less) {
				script = less
			} else {
				at += n
			}
		}
	}
	for _, plain := range []func(*wild){
		func(m *wild) { m.Levels = "" }, func(m *wild) { m.LevelledStart = true }, func(m *wild) { m.HomeLimitsOn = false },
		func(m *wild) { m.LowTravel = true }, func(m *wild) { m.Straight = false }, func(m *wild) { m.Plain = false },
		func(m *wild) { m.Actual = false }, func(m *wild) { m.Coarse = false }, func(m *wild) { m.DeafIdle, m.IdleOff = false, 120 },
		func(m *wild) { m.Echoes = 0 }, func(m *wild) { m.Bed = 0 }, func(m *wild) { m.Gantry = false }, func(m *wild) { m.Lean = false },
		func(m *wild) { m.Roll, m.TiltX, m.TiltY, m.Dish, m.Level = 0, 0, 0, 0, 0 }, func(m *wild) { m.Steps = []string{"gauging"} },
		func(m *wild) { m.LeverX, m.LeverY, m.Trigger = 0, 45, 2.2 },
	} {
		try := m
		if plain(&try); shows(try, script) {
			m = try
		}
	}
	return m, script, says
}
