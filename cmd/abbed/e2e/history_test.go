package e2e_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestHistory: two machines that answer by the same name, the second with half of
// the first's twist, are one printer before and after a repair: the history says
// that it changed, by how much, and by no more than the truth allows; two runs
// without a repair between did not change. The same from files.
func TestHistory(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	var ids []string
	var truths []func(u, v float64) float64
	files := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 1, Wording: 1})})
		defer w.close()
		for i, scale := range []float64{1, 1, 0.3} {
			mended := sc
			mended.Roll = func(x float64) float64 { return scale * sc.Roll(x) }
			w.wire.pull(true)
			printer := bench.New(mended, bench.Options{Seed: uint64(8 + i), Wording: 1})
			w.wire.printer = printer
			w.wire.pull(false)
			wait(t)
			ready(t, w)
			p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(uint64(8+i), 2)), Name: "the played person"}
			run, err := p.Measure(t.Context(), "gauging")
			if err != nil || run.State != api.Done {
				t.Fatalf("%s, %v", run.State, err)
			}
			ids = append(ids, run.ID)
			truths = append(truths, printer.Truth().Gap)
			rec, err := w.api.Record(t.Context(), run.ID)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(files, run.ID), rec, 0o600); err != nil {
				t.Fatal(err)
			}
			h, err := w.api.History(t.Context())
			if err != nil || len(h.Runs) != i+1 {
				t.Fatalf("run %d: %d in the history, %v", i, len(h.Runs), err)
			}
			last := h.Runs[i]
			if moved := last.Change != nil && last.Change.Beyond; last.Twist == nil || moved != (i == 2) || (last.Change == nil) != (i == 0) {
				t.Fatalf("run %d: %+v", i, last)
			}
			wait(t)
			text := w.metrics(t)
			says := strings.Contains(text, `abbed_tilt_moved{of="twist",since="run"} `+map[bool]string{true: "1", false: "0"}[i == 2])
			if told := strings.Contains(text, "abbed_tilt_moved{"); told != (i > 0) || told && !says {
				t.Errorf("run %d: the metrics do not say whether the head tilts otherwise than in the run before", i)
			}
			if i < 2 {
				continue
			}
			x, err := w.api.Compare(t.Context(), ids[1], ids[2])
			if err != nil || x.Most == nil {
				t.Fatalf("%+v, %v", x, err)
			}
			pr, err := w.api.Printer(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			zero := pr.Zero.Value
			if want := truths[2](x.Most.U, x.Most.V) - truths[1](x.Most.U, x.Most.V) - truths[2](zero.X, zero.Y) + truths[1](zero.X, zero.Y); math.Abs(x.Most.By-want) > x.Most.U95 {
				t.Errorf("it changed by %.3f, and %.3f ±%.3f is told", want, x.Most.By, x.Most.U95)
			}
			// What a lever of half the length would cost is what the truth says of it.
			l, err := w.api.Levers(t.Context(), ids[0], api.AskLevers{Levers: []api.XY{{X: last.Lever.X, Y: last.Lever.Y / 2}, {X: 60}}, Within: &api.Rect{X0: -10, Y0: 15, X1: 10, Y1: 60}})
			if err != nil || len(l.Levers) != 2 || l.Levers[1].Refused == nil || l.Levers[1].Refused.Hint == "" {
				t.Fatalf("%+v, %v", l, err)
			}
		}
	})
	if t.Failed() {
		return
	}
	var out, errs bytes.Buffer
	if code := commands.Main(t.Context(), []string{"runs", "compare", filepath.Join(files, ids[1]), filepath.Join(files, ids[2])}, &out, &errs); code != console.ExitDone {
		t.Fatalf("%d: %s", code, errs.String())
	}
	if !strings.Contains(out.String(), "changed beyond its doubt") {
		t.Error(out.String())
	}
	t.Log(out.String())
	out.Reset()
	if code := commands.Main(t.Context(), []string{"workshop", "probe-place", filepath.Join(files, ids[0]), "--lever", "60,0", "--lever", "0,20"}, &out, &errs); code != console.ExitDone || !strings.Contains(out.String(), "not known (") {
		t.Errorf("%d: %s%s", code, out.String(), errs.String())
	}
	t.Log(out.String())
	out.Reset()
	if code := commands.Main(t.Context(), []string{"workshop", "probe-place", filepath.Join(files, ids[0]), "--lever", "0,0", "--within", "-10,-10,10,40"}, &out, &errs); code != console.ExitDone ||
		!strings.Contains(out.String(), "X 0, Y 0: At the nozzle itself no probe finds room") || !strings.Contains(out.String(), "Y 15 costs least") {
		t.Errorf("%d: %s%s", code, out.String(), errs.String())
	}
	if code := commands.Main(t.Context(), []string{"workshop", "probe-place", filepath.Join(files, ids[0]), "--lever", "sixty"}, &out, &errs); code != console.ExitUsage {
		t.Errorf("a lever in words: %d", code)
	}
	if code := commands.Main(t.Context(), []string{"runs", "compare", filepath.Join(files, ids[0]), filepath.Join(files, "none")}, &out, &errs); code == console.ExitDone {
		t.Error("a record that is not there was compared")
	}
}
