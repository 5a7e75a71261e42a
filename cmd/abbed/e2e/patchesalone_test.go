package e2e_test

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

var patched = flag.Int("patched", often(3, 1), "on how many machines TestPatchesAlone rests a correction on printed patches")

// A bead's roughness at a patch, and a micrometer's, mm (common practice, no source).
const (
	beadRough  = 0.010
	micrometer = 0.003
)

// TestPatchesAlone: nobody stands at the machine with a feeler gauge. A check runs
// unwatched, patches are printed without a correction, thick enough for a nozzle that
// is 0.2 mm too low, and measured; the correction rests on them, and stays unverified until
// one point was gauged with it in force.
//
//	go test ./cmd/abbed/e2e -run TestPatchesAlone -v -patched 50
func TestPatchesAlone(t *testing.T) {
	t.Parallel()
	var all []spent
	for k := range *patched {
		seed := uint64(401 + k)
		sc := drawPrinter(t, seed)
		t.Run(sc.Name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) { all = append(all, patchesAlone(t, dir, sc, seed)) })
		})
	}
	for _, s := range all {
		t.Logf("%-4d %3.0f mm  %-20s left %5.1f um, %2d of %2d inside %s", s.seed, s.size, s.finding, s.left, s.inside, s.places, s.refused)
	}
	tellSpent(t, "patches alone", all)
	applied, verified := 0, 0
	for _, s := range all {
		if !math.IsNaN(s.left) {
			applied++
			if s.refused == "" {
				verified++
			}
		}
	}
	if t.Logf("%d corrections, %d verified by one point", applied, verified); applied >= 5 && 3*verified < 2*applied {
		t.Errorf("%d of %d corrections were verified", verified, applied)
	}
}

func patchesAlone(t *testing.T, dir string, sc bench.Scenario, seed uint64) spent {
	s := onStage(t, dir, sc, seed, func(c *config.Settings) { c.Proof.Nozzle = 210 })
	defer s.close()
	out := spent{seed: seed, size: sc.Bed.X1, left: math.NaN()}
	o := &ask.Outcome{}
	run, err := s.hand.Measure(t.Context(), "repeat", "survey")
	if o.Run = run; err != nil || run.State != api.Done {
		t.Errorf("the check %s: %+v, %v", run.State, run.Error, err)
		return out
	}
	p, err := s.api.ProofPrint(t.Context(), api.AskPrint{Run: run.ID, InForce: "none"})
	if err != nil {
		t.Error(err)
		return out
	}
	if len(p.Patches) < 9 || len(p.Patches) > 22 || p.Height < 0.25-1e-9 || !p.Patches[0].Zero {
		t.Errorf("%d patches of %.2f mm, %+v first", len(p.Patches), p.Height, p.Patches[0])
	}
	rnd, truth := rand.New(rand.NewPCG(seed, 0x9a7c)), s.printer.Truth()
	ask := api.Thickness{Plan: p.Plan, InForce: "none", Person: "Ida"}
	for _, q := range p.Patches {
		own := p.Height + truth.Gap(q.U, q.V) + sc.Level + beadRough*rnd.NormFloat64()
		if own < record.LayerLeast+0.01 {
			continue // smeared: nothing to read
		}
		ask.Readings = append(ask.Readings, api.ThicknessReading{Patch: q.N, Thickness: own + micrometer*rnd.NormFloat64()})
	}
	if shown, err := s.api.Thickness(t.Context(), run.ID, ask); err != nil || !strings.Contains(shown.Sentence, "rests on the patches alone") {
		t.Errorf("%+v, %v", shown, err)
		return out
	}
	if _, err := s.api.Thickness(t.Context(), run.ID, ask); err != nil { // a slip was corrected: sent once more
		t.Error(err)
	}
	if err := o.Read(t.Context(), s.api); err != nil {
		t.Error(err)
		return out
	}
	out.finding = o.Analysis.Findings[0].ID
	out.inside, out.places = s.covered(t, run.ID)
	if o.Table.Refused != nil {
		out.refused = o.Table.Refused.Code
		return out
	}
	rms, _ := demo.Remaining(o.Table, truth)
	out.left = 1000 * rms
	if err := s.hand.Apply(t.Context(), o); err != nil {
		t.Error(err)
		return out
	}
	if a, err := s.api.Applied(t.Context()); err != nil || a.Proved {
		t.Errorf("applied on patches alone, and verified already: %+v, %v", a, err)
	}
	proof, err := s.api.Prove(t.Context())
	if err == nil {
		proof, err = s.hand.Carry(t.Context(), proof)
	}
	if err != nil || proof.State != api.Done {
		t.Errorf("one point at the gauge: %+v, %v", proof, err)
	}
	a, err := s.api.Applied(t.Context())
	if err != nil || proof.Gaugings != 6 {
		t.Errorf("%d readings, three at either point are wanted; %v", proof.Gaugings, err)
	}
	if !a.Proved {
		out.refused = "not verified: " + a.Error.Text
	}
	s.sound(t)
	return out
}

// TestPatchesThatCannotBe: where lines are too narrow for a layer as thick as an unknown
// nozzle error needs, it is said, with what to do; with a gauging the layer is the owner's.
func TestPatchesThatCannotBe(t *testing.T) {
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, lookup(t, "twist-level"), 3, smaller, func(c *config.Settings) { c.Proof.Nozzle, c.Proof.Width = 210, 0.3 })
		defer s.close()
		run, err := s.hand.Measure(t.Context(), "repeat", "survey")
		if err != nil {
			t.Fatal(err)
		}
		_, err = s.api.ProofPrint(t.Context(), api.AskPrint{Run: run.ID, InForce: "none"})
		var e *api.Error
		if !errors.As(err, &e) || e.Code != "digs-in" || !strings.Contains(e.Hint, "proof.width to 0.33 mm") {
			t.Errorf("lines of 0.3 mm in a layer of 0.25 mm: %v", err)
		}
	})
}
