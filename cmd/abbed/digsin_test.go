package main

import (
	"errors"
	"testing"

	"abbed/config"
	"abbed/daemon/api"
)

// TestProofPrintKeepsClear: without a correction in force no patch is printed where the
// nozzle is known to come too near the bed; where that leaves too few, none is.
func TestProofPrintKeepsClear(t *testing.T) {
	left, refused := 0, 0
	for _, name := range []string{"repair", "repair-steep", "beam-twist", "twist-level"} {
		for _, layer := range []float64{0.12, 0.2, 0.4} {
			inBubble(t, func(t *testing.T, dir string) {
				sc := lookup(t, name)
				s := onStage(t, dir, sc, 3, func(c *config.Settings) { c.Layer, c.Proof.Nozzle, c.Proof.Bed = layer, 200, 60 })
				defer s.close()
				run, err := s.hand.measure(t.Context(), "repeat", "gauging")
				if err != nil {
					t.Fatal(err)
				}
				p, err := s.house.daemon.ProofPrint(run.ID)
				var e *api.Error
				if errors.As(err, &e) && e.Code == "digs-in" {
					refused++
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				truth := s.printer.Truth()
				for _, q := range p.Patches {
					if gap := layer + truth.Gap(q.U, q.V); gap < 0.03 {
						t.Errorf("%s, a layer of %.2f mm: patch %d has %.3f mm under the nozzle", name, layer, q.N, gap)
					}
				}
				if n := len(p.Patches); n > 0 && p.Patches[n-1].N > n {
					left++
				}
			})
		}
	}
	if left+refused == 0 {
		t.Error("nothing was left out anywhere: this test cannot fail")
	}
}
