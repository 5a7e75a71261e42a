package e2e_test

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestManyStops: however often a stop is asked for, the log of changes has a row for
// the first, and one a minute that counts the others. Without a link to the printer it
// is no error, and says that nothing was sent.
func TestManyStops(t *testing.T) {
	sc := lookup(t, "healthy")
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 1}), deny: errPulled})
		defer w.close()
		wait(t)
		for range 500 {
			answer, err := w.api.Stop(t.Context())
			if err != nil || answer.Requested || !strings.Contains(answer.Text, "power switch") {
				t.Fatalf("%+v, %v", answer, err)
			}
		}
		time.Sleep(time.Minute)
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		rows, err := w.house.Store.AuditTail(t.Context(), 10)
		if err != nil || len(rows) != 3 || rows[2].What != "stop" || rows[1].What != "stop" || !strings.Contains(rows[1].Detail, "499 times") {
			t.Errorf("%+v, %v", rows, err)
		}
	})
}

// TestStopThatCannotCome: where heat of ours may be on and there is no link, a stop is
// an error that names the power switch.
func TestStopThatCannotCome(t *testing.T) {
	sc := lookup(t, "healthy")
	dir := memoryDir(t)
	s, _, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.SetOwed(t.Context(), []record.Switch{record.SwitchHeaters}, "a run was cut off"), s.Close()); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 1}), deny: errPulled})
		defer w.close()
		wait(t)
		var refused *api.Error
		if _, err := w.api.Stop(t.Context()); !errors.As(err, &refused) || refused.Code != "lost" || !strings.Contains(refused.Hint, "power switch") {
			t.Errorf("%v", err)
		}
	})
}
