package analysis_test

import (
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// What to try first is said for the kind of probe, in the failing finding alone,
// before what is said to everybody; without a kind nothing is added. (What is
// said: common practice, no source.)
func TestKinds(t *testing.T) {
	rough := good()
	rough.scatter = 0.03
	loose := good()
	loose.play = [2]float64{0.06, 0}
	drifts := good()
	drifts.drift = func(t float64) float64 { return 0.05 * t / 60 }
	seen := map[string]bool{}
	for id, m := range map[string]machine{analysis.ProbeNotRepeatable: rough, analysis.LooseCarriage: loose, analysis.DriftFound: drifts} {
		run := simulate(m, standard(), 3)
		general := analysis.Judge(run).Findings[0]
		if general.ID != id {
			t.Fatalf("%s found first, not %s", general.ID, id)
		}
		for _, kind := range []record.ProbeKind{record.KindContact, record.KindInductive, record.KindOptical, record.KindNozzle} {
			run.Setup.Kind = kind
			f := analysis.Judge(run).Findings[0]
			first, ok := strings.CutSuffix(f.Next, " "+general.Next)
			if !ok || len(first) < 40 || seen[first] {
				t.Errorf("%s, %s: next %q", id, kind, f.Next)
			}
			seen[first] = true
			f.Next = general.Next
			if f != general {
				t.Errorf("%s, %s: the kind changed more than next", id, kind)
			}
		}
	}
	run := simulate(good(), standard(), 3)
	was := analysis.Judge(run).Findings
	run.Setup.Kind = record.KindInductive
	for i, f := range analysis.Judge(run).Findings {
		if f != was[i] {
			t.Errorf("%s: next changed to %q", f.ID, f.Next)
		}
	}
}
