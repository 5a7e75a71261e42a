package e2e_test

import (
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/say/saytest"
	"abbed/daemon/api"
	"abbed/daemon/results"
)

// TestRepairSteps: what is advised for machines whose geometry is known, in which order.
// The finding repair has steps; nothing has a thickness without the length between the
// brackets; the Y axis comes first; pitch and oblique probe offsets get no shim.
func TestRepairSteps(t *testing.T) {
	t.Parallel()
	for name, ids := range map[string]string{
		"twist-plate": "profile shim measure", "repair": "beam measure", "bed-roll": "y-axis measure", "beam-sag": "pitch measure", "oblique-tilt": "angles measure", "worn-wheels": "wheels measure",
	} {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, lookup(t, name), 3)
				defer s.close()
				run, err := s.hand.Measure(t.Context(), "repeat", "gauging")
				if err != nil {
					t.Fatal(err)
				}
				rec, err := s.house.Daemon.Record(run.ID)
				if err != nil {
					t.Fatal(err)
				}
				whole, err := console.ReadRecord(rec)
				if err != nil {
					t.Fatal(err)
				}
				if a, err := results.RepairOf(whole, analysis.Judge(whole), results.Asked(api.AskRepair{}, config.Default()), true); err != nil || (a.Steps[0].ID == "undo") != (name != "worn-wheels") {
					t.Errorf("with a correction in force: %v %+v", err, a.Steps)
				}
				for mounting, want := range map[float64]string{300: ids, 0: strings.ReplaceAll(ids, "profile shim", "brackets")} {
					a, err := s.house.Daemon.Repair(run.ID, api.AskRepair{Mounting: mounting})
					if err != nil {
						t.Fatal(err)
					}
					var got []string
					for _, x := range a.Steps {
						got = append(got, x.ID)
						if x.ID == "shim" && (x.Amount == nil || x.Left == nil || x.Left.Hi95 >= a.Largest.Lo95) {
							t.Errorf("a shim that is not known to help: %+v of %+v", x, a.Largest)
						}
					}
					for _, x := range append(a.Steps, api.RepairStep{Title: a.Why, Then: a.Missing, Do: a.Cautions}) {
						for _, text := range append([]string{x.Title, x.Then}, x.Do...) {
							for _, f := range append(saytest.Faults(text, saytest.Page), saytest.Whole(text)...) {
								t.Errorf("%s: %s", f, text)
							}
						}
					}
					if strings.Join(got, " ") != want {
						t.Errorf("%q, want %q: %s", got, want, a.Why)
					}
				}
			})
		})
	}
}

// TestRepairOfTheDaemon: the command asks the daemon, which knows what is in the bed map now;
// without a run it is the latest one.
func TestRepairOfTheDaemon(t *testing.T) {
	dir := image(t, measured(t, lookup(t, "twist-level"), 2))
	h := livingHouse(t, func(s *config.Settings) { s.State = dir })
	for _, args := range [][]string{{"--mounting", "300"}, {"--mounting", "300", "--supports", "30,30 205,30 117.5,205", "--pitch", "0.8"}} {
		code, out, errs := runOn(t, append([]string{"workshop", "repair", "--url", h.URL()}, args...)...)
		if code != console.ExitDone || !strings.Contains(out, "1. ") || !strings.Contains(out, "shim") {
			t.Errorf("%v: exit %d: %s%s", args, code, out, errs)
		}
	}
	if code, _, errs := runOn(t, "workshop", "repair", "no-such-run", "--url", h.URL()); code == console.ExitDone || !strings.Contains(errs, "no-such-run") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if code, _, errs := runOn(t, "workshop", "repair", "--mounting", "9000", "--url", h.URL()); code == console.ExitDone || !strings.Contains(errs, "9000") {
		t.Errorf("exit %d: %s", code, errs)
	}
}
