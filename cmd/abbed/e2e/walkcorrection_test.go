package e2e_test

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// walked is how many walks TestWalkCorrection makes, of some thirty steps each.
var walked = flag.Int("walked", 12, "how many walks over a correction in a virtual printer TestWalkCorrection makes")

// held is what a node of the printer's map holds, um: what others put there, and what of
// ours is in it. Where somebody changed a node so that it looks like the other of the
// two, nobody can know any more: it is open.
type held struct {
	others, ours int64
	open         bool
}

// mapWalker is a whole daemon beside a virtual printer with a correction in it, and what
// must be true of both, node by node.
type mapWalker struct {
	t       *testing.T
	log     func(string, ...any)
	rnd     *rand.Rand
	sc      bench.Scenario
	dir     string
	w       *world
	printer *bench.Printer
	add     [][]int64
	first   [][]int64 // the map on which the correction was approved
	before  [][]int64 // the map into which it was written last
	live    [][]held
	kept    [][]held
	cut     int
	lines   int // until the line is cut; 0: it is not
	stepped map[string]int
}

func um(nodes [][]float64) [][]int64 {
	out := make([][]int64, len(nodes))
	for j, row := range nodes {
		for _, z := range row {
			out[j] = append(out[j], int64(math.Round(1000*z)))
		}
	}
	return out
}

func copyHeld(h [][]held) [][]held {
	out := make([][]held, len(h))
	for j := range h {
		out[j] = append(out[j], h[j]...)
	}
	return out
}

func (k *mapWalker) each(do func(i, j int)) {
	for j := range k.add {
		for i := range k.add[j] {
			do(i, j)
		}
	}
}

// set has others put a value into a node; anew says that whatever was there is gone.
func (k *mapWalker) set(i, j int, v int64, anew bool) {
	h := &k.live[j][i]
	if anew {
		*h = held{}
	}
	h.others = v - h.ours
	behind(k.t, k.printer, fmt.Sprintf("M421 I%d J%d Z%.3f", i, j, float64(v)/1000))
	for _, ours := range []int64{0, k.add[j][i]} {
		if near := v - k.before[j][i] - ours; h.ours != ours && 4*max(near, -near) <= max(k.add[j][i], -k.add[j][i])+4 {
			h.open = true
		}
	}
}

// bed is the bed as the printer would measure it.
func (k *mapWalker) bed(i, j int, scatter float64) int64 {
	return k.first[j][i] + int64(math.Round(scatter*k.rnd.NormFloat64()))
}

func (k *mapWalker) hear(_, _ string) {
	if k.lines > 0 {
		if k.lines--; k.lines == 0 {
			k.w.wire.pull(true)
		}
	}
}

func (k *mapWalker) open() {
	wire := &cable{printer: k.printer, trace: k.hear}
	k.w = open(k.t, k.dir, k.sc, wire)
	k.wait()
}

func (k *mapWalker) wait() { time.Sleep(20 * time.Second); ready(k.t, k.w) }

func (k *mapWalker) applied() api.Applied {
	for {
		a, err := k.w.api.Applied(k.t.Context())
		if err != nil {
			k.t.Fatal(err)
		}
		if a.State != api.Writing && a.State != api.Verifying {
			return a
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// doing carries an act through, in which the line may be cut and the daemon end, and
// holds what then stands to what stood.
func (k *mapWalker) doing(name string, do func() error) {
	was, nodes, old := k.live, um(k.printer.Nodes()), k.applied()
	before := k.before
	if name == "apply" || name == "re-apply" {
		k.before = nodes
	}
	keeps := fmt.Sprint(k.printer.Kept())
	k.lines = k.cut
	err := do()
	a := k.applied()
	if k.lines = 0; k.w.wire.pulled {
		k.w.close()
		k.open()
		a = k.applied()
	}
	k.stepped[name+" "+string(a.State)]++
	k.log("%s: %s -> %s %q, %v", name, old.State, a.State, a.Sentence, err)
	if a.State == old.State && fmt.Sprint(a.Since) == fmt.Sprint(old.Since) && err != nil {
		k.before = before
	}
	now, left := um(k.printer.Nodes()), 0
	k.live = copyHeld(was)
	k.each(func(i, j int) {
		h, v := &k.live[j][i], now[j][i]
		h.ours = k.ours(was[j][i], nodes[j][i], v, i, j, old, a)
		h.others = v - h.ours
		switch {
		case a.State == api.Unfinished:
		case a.State == api.Kept && err == nil && name != "undo" && !was[j][i].open && h.ours != k.add[j][i]:
			k.breaks("%s: kept, and node %d,%d has %d of %d um", name, i, j, h.ours, k.add[j][i])
		case a.State == api.Undone || a.State == api.PutBack:
			if h.ours != 0 && !h.open {
				left++
			}
			*h = held{others: v} // the person was told
		}
	})
	if left > 0 && !strings.Contains(a.Sentence, "left as they are") {
		k.breaks("%s: %s, and %d nodes have the correction: %q", name, a.State, left, a.Sentence)
	}
	if kept := k.printer.Kept(); fmt.Sprint(kept) != keeps {
		k.kept = copyHeld(k.live)
		k.each(func(i, j int) { k.kept[j][i].others = um(kept)[j][i] - k.kept[j][i].ours })
		if a.State != api.Unfinished && fmt.Sprint(um(kept)) != fmt.Sprint(now) {
			k.breaks("%s: %s, and what is kept is another map", name, a.State)
		}
	}
}

// ours is what of the correction a node has after an act; it fails where the node holds
// what nobody put there.
func (k *mapWalker) ours(was held, before, now int64, i, j int, old, a api.Applied) int64 {
	add := k.add[j][i]
	switch {
	case now == before && was.open && a.State == api.Kept:
		return add
	case now == before:
		return was.ours
	case now == was.others || now == k.before[j][i] && (was.open || old.State == api.Unfinished):
		return 0
	case now == was.others+add || now == k.before[j][i]+add && (was.open || old.State == api.Unfinished), now == before+add && was.open:
		return add
	case now == before-add && was.open:
		return 0
	}
	k.breaks("node %d,%d: others put %d um there, %d of ours was in it; it held %d and holds %d, correction %d (%s)", i, j, was.others, was.ours, before, now, add, a.State)
	return 0
}

// apply approves the run's table once more, where its map stands.
func (k *mapWalker) apply() error {
	runs, err := k.w.api.Runs(k.t.Context())
	if err != nil {
		return err
	}
	table, err := k.w.api.Table(k.t.Context(), runs[len(runs)-1].ID)
	if err != nil || table.Digest == nil {
		return errors.Join(err, errors.New("no table"))
	}
	return (&demo.Person{API: k.w.api, Name: "the played person"}).Apply(k.t.Context(), &ask.Outcome{Table: table})
}

// mapStep is one thing that happens, as it was drawn.
type mapStep struct {
	Do      string
	I, J    [3]int
	By      [3]int64
	Scatter float64
	Cut     int // the line is cut at so many lines; 0: it is not
	Finish  bool
}

var mapActs = []string{
	"edit", "edit", "row", "all", "old map", "keep", "restart", "apply", "apply", "re-apply", "re-apply", "anew, re-apply", "anew, re-apply", "undo", "undo", "resolve", "resolve", "resolve",
}

func drawMapWalk(r *rapid.T) []mapStep {
	return rapid.SliceOfN(rapid.Custom(func(r *rapid.T) mapStep {
		s := mapStep{Do: rapid.SampledFrom(mapActs).Draw(r, "do"), Scatter: rapid.Float64Range(5, 30).Draw(r, "scatter"), Finish: rapid.Bool().Draw(r, "finish")}
		for k := range s.By {
			s.I[k], s.J[k] = rapid.IntRange(0, 100).Draw(r, "i"), rapid.IntRange(0, 100).Draw(r, "j")
			s.By[k] = rapid.SampledFrom([]int64{0, 1, -1}).Draw(r, "sign") * rapid.Int64Range(5, 500).Draw(r, "um")
		}
		if rapid.IntRange(0, 2).Draw(r, "dies") == 0 {
			s.Cut = rapid.IntRange(1, 160).Draw(r, "cut")
		}
		return s
	}), 30, 30).Draw(r, "walk")
}

// broken is what must never be.
type broken string

func (k *mapWalker) breaks(text string, args ...any) { panic(broken(fmt.Sprintf(text, args...))) }

// play walks a walk, and returns what broke.
func (k *mapWalker) play(walk []mapStep) (why broken) {
	k.printer = bench.New(k.sc, bench.Options{Seed: 2})
	k.open()
	defer func() { k.w.close() }()
	defer func() {
		if b, ok := recover().(broken); ok {
			why = b
		}
	}()
	k.first = um(k.printer.Nodes())
	k.before = k.first
	for _, row := range k.first {
		k.add, k.live = append(k.add, make([]int64, len(row))), append(k.live, make([]held, len(row)))
	}
	if err := k.apply(); err != nil {
		k.t.Fatal(err)
	}
	for j, row := range um(k.printer.Nodes()) {
		for i, v := range row {
			k.add[j][i] = v - k.first[j][i]
			k.live[j][i] = held{others: k.first[j][i], ours: k.add[j][i]}
		}
	}
	k.kept = copyHeld(k.live)
	for _, s := range walk {
		k.step(s)
		k.stepped["steps"]++
	}
	return ""
}

func (k *mapWalker) step(s mapStep) {
	state, size := k.applied().State, len(k.first)
	anew := func() { k.each(func(i, j int) { k.set(i, j, k.bed(i, j, s.Scatter), true) }) }
	k.cut = s.Cut
	switch {
	case s.Do == "edit":
		for n, by := range s.By {
			if i, j := s.I[n]%size, s.J[n]%size; by != 0 {
				k.set(i, j, um(k.printer.Nodes())[j][i]+by, false)
			}
		}
	case s.Do == "row":
		for i := range size {
			k.set(i, s.J[0]%size, k.bed(i, s.J[0]%size, s.Scatter), true)
		}
	case s.Do == "all":
		anew()
	case s.Do == "old map":
		k.each(func(i, j int) { k.set(i, j, k.first[j][i], true) })
	case s.Do == "keep":
		behind(k.t, k.printer, "M500")
		k.kept = copyHeld(k.live)
	case s.Do == "restart":
		k.printer.Restart()
		k.live = copyHeld(k.kept)
		k.wait()
	case s.Do == "apply" && state != api.Unfinished && state != api.Kept:
		k.doing("apply", k.apply)
	case s.Do == "re-apply" && state == api.Kept:
		k.doing("re-apply", func() error { return k.w.api.Reapply(k.t.Context()) })
	case s.Do == "anew, re-apply" && state == api.Kept:
		anew()
		k.doing("re-apply", func() error { return k.w.api.Reapply(k.t.Context()) })
	case s.Do == "undo" && state == api.Kept:
		k.doing("undo", func() error { return k.w.api.Undo(k.t.Context()) })
	case s.Do == "resolve" && state == api.Unfinished:
		c := map[bool]string{true: "finish", false: "take-back"}[s.Finish]
		k.doing(c, func() error { return k.w.api.Resolve(k.t.Context(), c) })
	}
}

// TestWalkCorrection: as daemon/apply's TestWalk, through a whole daemon, its API and its
// store, beside the virtual printer: whatever others do to the map, and whenever the line
// is cut or the board restarts, each node holds what others put there and the correction
// once or not at all.
//
//	go test ./cmd/abbed/e2e -run TestWalkCorrection -v -walked 300 -timeout 1h
func TestWalkCorrection(t *testing.T) {
	n := *walked
	if testing.Short() {
		n = min(n, 2)
	}
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	_ = flag.Set("rapid.checks", fmt.Sprint(n))
	defer func() { _ = flag.Set("rapid.checks", "100") }()
	stepped := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		walk, seed := drawMapWalk(r), rapid.Uint64().Draw(r, "seed")
		dir := image(t, base)
		defer os.RemoveAll(dir)
		var why broken
		synctest.Test(t, func(t *testing.T) {
			k := &mapWalker{t: t, rnd: rand.New(rand.NewPCG(seed, 2)), sc: sc, dir: dir, stepped: stepped, log: r.Logf}
			why = k.play(walk)
		})
		if why != "" {
			r.Fatal(why)
		}
	})
	t.Log(stepped)
}
