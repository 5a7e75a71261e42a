package gcode_test

import (
	"context"
	"errors"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/bench/wire"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// onBench gives a greeted session to a virtual printer.
func onBench(t *testing.T, sc bench.Scenario, bo bench.Options, o gcode.Options) (*gcode.Session, *bench.Printer) {
	t.Helper()
	near, far := net.Pipe()
	p := bench.New(sc, bo)
	ended := make(chan error, 1)
	go func() { ended <- p.Serve(context.Background(), far) }()
	s := gcode.NewSession(near, o)
	t.Cleanup(func() {
		s.Close()
		if err := <-ended; err != nil {
			t.Errorf("bench: %v", err)
		}
	})
	if err := s.Greet(context.Background()); err != nil {
		t.Fatal(err)
	}
	return s, p
}

func steady(t *testing.T) bench.Scenario {
	t.Helper()
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func must[T any](t *testing.T) func(T, error) T {
	t.Helper()
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Every wording of the bench is understood, framed and plain, and the values
// agree with what the bench knows of itself.
func TestEveryWordingIsUnderstood(t *testing.T) {
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	for w := 1; w <= 2*wire.Wordings; w++ {
		for _, plain := range []bool{false, true} {
			synctest.Test(t, func(t *testing.T) {
				sc := steady(t)
				sc.NoFraming = plain
				sc.Chatter = 3
				s, p := onBench(t, sc, bench.Options{Seed: uint64(w), Wording: w}, gcode.Options{})
				if s.Framed() == plain {
					t.Fatalf("wording %d: framed %v, plain printer %v", w, s.Framed(), plain)
				}
				everything(t, w, s, p, d)
				s.Close()
			})
		}
	}
}

func everything(t *testing.T, w int, s *gcode.Session, p *bench.Printer, d *dialect.Dialect) {
	t.Helper()
	ctx := context.Background()
	sc := p.Scenario()
	ask := func(q gcode.Query) gcode.Reply { t.Helper(); return must[gcode.Reply](t)(s.Ask(ctx, q)) }
	if id, ok := d.ReadIdentity(ask(d.Identify())); !ok || len(id.Fields) < 3 || !id.Caps["HEIGHT_MAP"] {
		t.Errorf("wording %d: identity %v", w, id)
	}
	l, _, ok := d.ReadLever(ask(d.Lever()))
	if !ok || l.X != sc.Lever[0] || l.Y != sc.Lever[1] {
		r := ask(d.Lever())
		t.Errorf("wording %d: lever %v %v of %q, want %v", w, l, ok, texts(r.Lines), sc.Lever)
	}
	settings := ask(d.Settings())
	if l2, _, ok := d.ReadLever(settings); !ok || l2 != l {
		t.Errorf("wording %d: lever in settings %v %v: %q", w, l2, ok, texts(settings.Lines))
	}
	if r := ask(d.Limits()); true {
		lim, ok := d.ReadLimits(r)
		if !ok || !lim.Known || !lim.On || lim.Travel.X0 != sc.Travel.Min[0] || lim.Travel.Y1 != sc.Travel.Max[1] || lim.Travel.Z1 != sc.Travel.Max[2] {
			t.Errorf("wording %d: limits %+v %v of %q", w, lim, ok, texts(r.Lines))
		}
	}
	if tm, ok := d.ReadTemperatures(ask(d.Temperatures())); !ok || !tm.HasBed || !tm.Targets || tm.NozzleTarget != 0 || tm.Nozzle < 15 || tm.Nozzle > 30 {
		t.Errorf("wording %d: temperatures %+v %v", w, tm, ok)
	}
	if pr, ok := d.ReadPrinting(ask(d.Printing())); !ok || pr {
		t.Errorf("wording %d: printing %v %v", w, pr, ok)
	}
	readMap(t, w, ask(d.Map()), p, d)
	must[gcode.Reply](t)(s.Move(ctx, d.Home()))
	place := record.Place{U: 100.5, V: 90.25}
	r := must[gcode.Reply](t)(s.Move(ctx, d.Touch(place)))
	x, y, _, dec, ok := d.ReadTouch(r)
	if !ok || x != place.U || y != place.V || dec != sc.Decimals {
		t.Errorf("wording %d: touch %v %v %d %v of %q", w, x, y, dec, ok, texts(r.Lines))
	}
	r = must[gcode.Reply](t)(s.Move(ctx, d.Touch(record.Place{U: 9000, V: 0})))
	if _, _, _, _, ok := d.ReadTouch(r); ok {
		t.Errorf("wording %d: a touch out of reach is believed: %q", w, texts(r.Lines))
	}
	x, y, _, ok = d.ReadPosition(ask(d.Where()))
	if !ok || x != place.U-l.X || y != place.V-l.Y {
		t.Errorf("wording %d: position %v %v %v", w, x, y, ok)
	}
	if _, err := s.Ask(ctx, d.Node(99, 0, 0)); err == nil {
		t.Errorf("wording %d: a node out of the map was taken", w)
	}
	ask(d.Node(1, 2, -57))
	if rows, ok, err := d.ReadMap(ask(d.Map())); !ok || err != nil || rows[2][1] != -57 {
		t.Errorf("wording %d: node read back %v %v %v", w, rows, ok, err)
	}
	for _, on := range []bool{true, false} {
		if got, ok := d.ReadLevelling(ask(d.Levelling(on))); ok && got != on {
			t.Errorf("wording %d: levelling %v is read as %v", w, on, got)
		}
		if got, ok := d.ReadLevelling(ask(d.Settings())); !ok || got != on {
			t.Errorf("wording %d: levelling %v in settings: %v %v", w, on, got, ok)
		}
	}
	if c := s.Counts(); c.Unasked != 0 || c.Resends != s.Counts().Resends {
		t.Errorf("wording %d: %+v", w, c)
	}
}

func readMap(t *testing.T, w int, r gcode.Reply, p *bench.Printer, d *dialect.Dialect) {
	t.Helper()
	rows, ok, err := d.ReadMap(r)
	if !ok || err != nil {
		t.Errorf("wording %d: map: %v %v of %q", w, ok, err, texts(r.Lines))
		return
	}
	for j, row := range p.Nodes() {
		for i, z := range row {
			if diff := float64(rows[j][i])/1000 - z; diff > 1e-9 || diff < -1e-9 {
				t.Errorf("wording %d: node %d,%d: %d um, want %v mm", w, i, j, rows[j][i], z)
			}
		}
	}
}

// Faults of the bench on a touch: the outcome is the touch, or an error that
// says what happened; never another touch's report, never a hang.
func TestFaultsOnATouch(t *testing.T) {
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	wants := map[string][]error{
		"lost-ok": {nil}, "bit-out": {nil, gcode.ErrReplyLost}, "bit-in": {nil}, "byte-out": {nil, gcode.ErrReplyLost}, "twice-out": {nil},
		"refused": {nil}, "no-trigger": {nil, gcode.ErrHalted, gcode.ErrSilent}, "silence": {gcode.ErrReplyLost}, "restart": {gcode.ErrRestarted}, "halt": {gcode.ErrHalted, gcode.ErrSilent},
		"late-ok": {nil}, "unplug": {gcode.ErrLost}, "wrong-echo": {nil}, "byte-in": {nil}, "twice-in": {nil}, "resend-storm": {nil},
		"wrong-number": {nil}, "busy": {nil}, "chatter": {nil}, "split": {nil}, "glued": {nil, gcode.ErrReplyLost}, "crlf": {nil}, "nuls": {nil},
		"long-line": {nil}, "half-open": {gcode.ErrSilent}, "slow-line": {nil}, "out-of-reach": {nil},
	}
	for _, name := range bench.Faults() {
		for w := 1; w <= 8; w++ {
			t.Run(name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) { faultOnTouch(t, d, name, w, wants[name]) })
			})
		}
	}
}

func faultOnTouch(t *testing.T, d *dialect.Dialect, name string, w int, want []error) {
	s, p := onBench(t, steady(t), bench.Options{Seed: 3, Wording: w}, gcode.Options{})
	ctx := context.Background()
	must[gcode.Reply](t)(s.Move(ctx, d.Home()))
	first, second := record.Place{U: 100, V: 90}, record.Place{U: 130, V: 120}
	p.Inject(bench.Fault{Name: name, When: "G30"})
	touched := p.Safety().Touches
	r, err := s.Move(ctx, d.Touch(first))
	if want == nil {
		t.Fatal("the test does not say how this fault is to end")
	}
	if !oneOf(err, want) {
		t.Errorf("wording %d: %v, want one of %v", w, err, want)
	}
	if n := p.Safety().Touches - touched; n > 1 {
		t.Errorf("wording %d: %d contacts for one touch", w, n)
	}
	if x, y, _, _, ok := d.ReadTouch(r); ok && name != "bit-out" && name != "byte-out" && (x != first.U || y != first.V) {
		t.Errorf("wording %d: report of another place: %v %v", w, x, y)
	}
	if s.Err() == nil {
		r, err := s.Move(ctx, d.Touch(second))
		if name == "wrong-number" && errors.Is(err, gcode.ErrLost) {
			return // the counts are out of step: it is said, and nothing was done
		}
		if x, y, _, _, ok := d.ReadTouch(r); err != nil || ok && (x != second.U || y != second.V) {
			t.Errorf("wording %d: the touch after: %v %v %v", w, x, y, err)
		}
	}
	s.Close()
}

func oneOf(err error, want []error) bool {
	for _, w := range want {
		if w == nil && err == nil || w != nil && errors.Is(err, w) {
			return true
		}
	}
	return false
}

// The stop's bytes reach the printer at once while a home is unanswered.
func TestStopWhileHoming(t *testing.T) {
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	synctest.Test(t, func(t *testing.T) {
		s, _ := onBench(t, steady(t), bench.Options{Seed: 1}, gcode.Options{})
		homed := make(chan error, 1)
		go func() { _, err := s.Move(context.Background(), d.Home()); homed <- err }()
		time.Sleep(time.Second)
		began := time.Now()
		if err := s.StopNow(); err != nil {
			t.Fatal(err)
		}
		if err := <-homed; !errors.Is(err, gcode.ErrStopped) {
			t.Errorf("home: %v", err)
		}
		if took := time.Since(began); took > 50*time.Millisecond {
			t.Errorf("stop took %v", took)
		}
		s.Close()
	})
}

// A machine that probes straight: the bracketed place is a touch, a probe that
// met nothing is none, and without brackets M114 tells the place.
func TestStraightMachine(t *testing.T) {
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Straight()))
	for w := 1; w <= wire.Wordings; w++ {
		for _, bracket := range []bool{true, false} {
			synctest.Test(t, func(t *testing.T) {
				sc := steady(t)
				sc.Straight38, sc.Bracket = true, bracket
				s, p := onBench(t, sc, bench.Options{Seed: 2, Wording: w}, gcode.Options{})
				ctx := context.Background()
				move := func(m gcode.Motion) gcode.Reply { t.Helper(); return must[gcode.Reply](t)(s.Move(ctx, m)) }
				move(d.Home())
				move(d.MoveXY(record.Nozzle{X: 120, Y: 110}, 6000))
				must[gcode.Reply](t)(s.Ask(ctx, d.Settle()))
				before := p.Safety().Touches
				r := move(d.ProbeDown(-2, 300))
				x, y, z, _, ok := d.ReadTouch(r)
				if !ok {
					x, y, z, ok = d.ReadPosition(must[gcode.Reply](t)(s.Ask(ctx, d.Where())))
				}
				if !ok || !near(x, 120, 120+sc.Lever[0]) || !near(y, 110, 110+sc.Lever[1]) || z < -2 || z > 6 {
					t.Errorf("wording %d, bracket %v: %v %v %v %v of %q", w, bracket, x, y, z, ok, texts(r.Lines))
				}
				if n := p.Safety().Touches - before; n != 1 {
					t.Errorf("wording %d: %d contacts", w, n)
				}
				s.Close()
			})
		}
	}
}

// near reports whether v is one of a and b.
func near(v, a, b float64) bool { return v > a-0.01 && v < a+0.01 || v > b-0.01 && v < b+0.01 }
