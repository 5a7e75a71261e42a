package e2e_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestRunCutByTheEnd: a run that was cut as the program ended does not ask, once the program
// runs again, to start it; and a bad disk has a plain sentence.
func TestRunCutByTheEnd(t *testing.T) {
	sc := lookup(t, "healthy")
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		ctx, cut := context.WithCancel(t.Context())
		p.Seen = func(r api.Run) {
			if r.Touches > 5 {
				cut()
			}
		}
		_, _ = p.Measure(ctx, "repeat")
		w.close()
		w = open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		runs, err := w.api.Runs(t.Context())
		if err != nil || len(runs) != 1 || runs[0].Error == nil {
			t.Fatalf("%+v, %v", runs, err)
		}
		text := fmt.Sprint(runs[0].Error, w.screen(t, "/run/"+runs[0].ID))
		if strings.Contains(strings.ToLower(text), "start abbed") || !strings.Contains(strings.ToLower(text), "start a new run") {
			t.Errorf("%+v: %s", runs[0].Error, text)
		}
	})
	if text := api.Codes["store"]; strings.Contains(text, "nothing") {
		t.Errorf("the code of a bad disk: %q", text)
	}
}
