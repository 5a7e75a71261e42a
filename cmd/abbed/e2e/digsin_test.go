package e2e_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/daemon/api"
)

// TestProofPrintKeepsClear: without a correction in force no patch is printed where the
// nozzle is known to come too near the bed; where that leaves too few, none is.
func TestProofPrintKeepsClear(t *testing.T) {
	t.Parallel()
	left, refused := 0, 0
	for _, name := range []string{"repair", "repair-steep", "beam-twist", "twist-level"} {
		for _, layer := range []float64{0.12, 0.2, 0.4} {
			inBubble(t, func(t *testing.T, dir string) {
				sc := lookup(t, name)
				s := onStage(t, dir, sc, 3, func(c *config.Settings) { c.Layer, c.Proof.Nozzle, c.Proof.Bed = layer, 200, 60 })
				defer s.close()
				run, err := s.hand.Measure(t.Context(), "repeat", "gauging")
				if err != nil {
					t.Fatal(err)
				}
				if name == "repair" && layer == 0.2 {
					byRecord(t, s, run.ID)
				}
				p, err := s.house.Daemon.ProofPrint(api.AskPrint{Run: run.ID})
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
				for _, q := range p.Patches {
					if q.N > len(p.Patches) {
						left++
					}
				}
				if all, err := s.house.Daemon.ProofPrint(api.AskPrint{Run: run.ID, InForce: "file"}); err != nil || len(all.Patches) < 8 || !strings.HasPrefix(all.File, "; CAUTION: Put the correction into this file") {
					t.Errorf("to be carried: %v, %d patches", err, len(all.Patches))
				}
			})
		}
	}
	if left+refused == 0 {
		t.Error("nothing was left out anywhere: this test cannot fail")
	}
}

// byRecord asks the command for a print by the record of a machine that needs repair.
func byRecord(t *testing.T, s *stage, id string) {
	rec, err := s.house.Daemon.Record(id)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(rec)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "r.json")
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	all := 0
	for _, c := range []struct {
		inForce string
		code    int
	}{{"file", console.ExitDone}, {"none", console.ExitRefused}, {"both", console.ExitUsage}} {
		var out, errs bytes.Buffer
		code := commands.Main(t.Context(), []string{"workshop", "patches", file, "--set", "proof.nozzle=210", "--set", "proof.bed=60", "--in-force", c.inForce}, &out, &errs)
		n := strings.Count(out.String(), "; patch ")
		if all = max(all, n); code != c.code && !(c.inForce == "none" && code == console.ExitDone && n < all) {
			t.Errorf("%s: code %d, %d lines of patches: %s", c.inForce, code, n, errs.String())
		}
	}
}
