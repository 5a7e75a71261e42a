package e2e_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestAttendedStart: a trigger makes a run that waits for a person's
// confirmation, also when it says that somebody stands there; only the owner's
// setting lets it begin (design/1, safety rule 1).
func TestAttendedStart(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	for name, try := range map[string]struct {
		allowed, attended bool
		begins            bool
	}{
		"neither":          {false, false, false},
		"said only":        {false, true, false},
		"allowed only":     {true, false, false},
		"allowed and said": {true, true, true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 3})
				w := open(t, dir, sc, &cable{printer: printer}, func(s *config.Settings) { s.AttendedStarts = try.allowed })
				defer w.close()
				ready(t, w)
				start := w.api.StartRun
				if try.attended {
					start = func(ctx context.Context, steps ...string) (api.Run, error) {
						return w.api.Start(ctx, api.NewRun{Steps: steps, Attended: true})
					}
				}
				r, err := start(t.Context(), "repeat")
				if err != nil {
					t.Fatal(err)
				}
				if began := r.State != api.AwaitingConfirmation; began != try.begins {
					t.Fatalf("the run is %s", r.State)
				}
				if try.begins {
					if _, err := w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.Touches > 0 }); err != nil {
						t.Error(err)
					}
					err = w.api.Confirm(t.Context(), r.ID, api.Confirm{Person: "somebody", Cautions: []string{}})
					var e *api.Error
					if !errors.As(err, &e) || e.Code != "wrong-state" {
						t.Errorf("confirmed twice: %v", err)
					}
				}
				if _, err := w.api.Stop(t.Context()); err != nil {
					t.Error(err)
				}
			})
		})
	}
}
