package analysis_test

import (
	"fmt"
	"os"
	"testing"

	"abbed/analysis"
)

func TestDbg(t *testing.T) {
	name := os.Getenv("DBG")
	if name == "" {
		t.Skip()
	}
	for _, c := range gateCases() {
		if c.name != name {
			continue
		}
		k := 0
		for seed := range 300 {
			p := standard()
			p.places, p.survey = nil, false
			s := analysis.Steady(simulate(c.m, p, uint64(seed)+1))
			f, _ := s.Failed()
			if f.ID != c.want {
				fmt.Printf("%s: scatter %v drift %+v odd %v wander %+v\n", f.ID, s.Scatter, *s.Drift, s.Outliers, *s.Wander)
				k++
				if k > 5 {
					return
				}
			}
		}
	}
}
