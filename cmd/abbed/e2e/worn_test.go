package e2e_test

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"

	"abbed/analysis"
	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestHalfWorn has the whole job done, through the wire, on the bench's worn
// wheels with flats and wandering half as large: 0.04 mm, twice the least that
// may wander. Whatever is found first, there is no table, and hardly anybody (one
// in fifty, where three passes happen to agree) is told that the machine is
// healthy.
//
//	go test ./cmd/abbed/e2e -run TestHalfWorn -v -fleet.seeds 50
func TestHalfWorn(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	found, healthy := map[string]int{}, 0
	t.Run("jobs", func(t *testing.T) {
		for _, name := range []string{"worn-wheels", "twist-worn"} {
			sc := lookup(t, name)
			sc.Dip, sc.Wander = sc.Dip/2, sc.Wander/2
			for seed := range uint64(*fleetSeeds) {
				t.Run(fmt.Sprintf("%s/%d", name, seed+1), func(t *testing.T) {
					t.Parallel()
					dir := memoryDir(t)
					synctest.Test(t, func(t *testing.T) {
						o := halfWorn(t, dir, sc, seed+1)
						mu.Lock()
						defer mu.Unlock()
						found[o.Analysis.Findings[0].ID]++
						if slices.ContainsFunc(o.Analysis.Findings, func(f api.Finding) bool { return f.ID == analysis.Healthy }) {
							healthy++
						}
					})
				})
			}
		}
	})
	t.Logf("%v, healthy %d", found, healthy)
	if 50*healthy > 2**fleetSeeds {
		t.Errorf("healthy %d times of %d", healthy, 2**fleetSeeds)
	}
}

// halfWorn does one job and holds its outcome.
func halfWorn(t *testing.T, dir string, sc bench.Scenario, seed uint64) *ask.Outcome {
	printer := bench.New(sc, bench.Options{Seed: seed})
	w := open(t, dir, sc, &cable{printer: printer})
	defer w.close()
	p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(seed, 0x9a06e)), Name: "the played person"}
	o, err := p.WholeJob(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if *fleetOut != "" {
		if err := o.Save(filepath.Join(*fleetOut, fmt.Sprintf("half-%s-%d", sc.Name, seed))); err != nil {
			t.Error(err)
		}
	}
	if o.Table.Digest != nil {
		t.Error("a table for wheels with flats")
	}
	return o
}
