package apply_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"abbed/analysis"
	"abbed/daemon/apply"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// walks is how many walks TestWalk makes, of some thirty steps each.
var walks = flag.Int("walks", 60, "how many walks over a correction in the printer TestWalk makes")

// content is what a node of the printer's map holds: what others put there, and what of
// ours is in it. Where somebody changed a node so that it looks like the other of the
// two, nobody can know any more: it is open.
type content struct {
	others, ours int64
	open         bool
}

// walk is a printer with a correction in it, a program that may die, and what must be
// true of both, node by node. It knows nothing of how the program decides.
type walk struct {
	t    *rapid.T
	rnd  *rand.Rand
	size int
	step int64 // um: the printer stores and prints its nodes so finely

	live, kept [][]content
	nodes      [][]int64 // live, as stored
	saved      [][]int64 // kept, as stored

	book    []store.Applied
	tables  map[string]analysis.Table
	origins map[string][][]int64 // the map on which a person approved a correction
	twist   [][]int64            // the correction that a new run finds, um
	tilt    float64

	asks, dies int // the program dies at so many words to the printer or the journal; 0: not
	desk       apply.Desk
	stepped    map[string]int
	back       bool // the act had an earlier correction in force again
}

var errDead = fmt.Errorf("ask: %w", gcode.ErrClosed)

func (w *walk) dead() bool {
	w.asks++
	return w.dies > 0 && w.asks >= w.dies
}

func (w *walk) Ask(_ context.Context, q gcode.Query) (gcode.Reply, error) {
	if w.dead() {
		return gcode.Reply{}, errDead
	}
	var i, j int
	var z float64
	ok := gcode.Reply{OK: gcode.ParseLine([]byte("ok"))}
	switch text := q.Text(); text {
	case "M500":
		w.keep()
	case "M420 V":
		for j, row := range w.nodes {
			line := fmt.Sprint(j)
			for _, v := range row {
				line += fmt.Sprintf("  %.3f", float64(v)/1000)
			}
			ok.Lines = append(ok.Lines, gcode.ParseLine([]byte(line)))
		}
	default:
		if _, err := fmt.Sscanf(text, "M421 I%d J%d Z%f", &i, &j, &z); err != nil {
			w.t.Fatalf("%s: %v", text, err)
		}
		w.nodes[j][i] = w.round(1000 * z)
	}
	if w.dead() {
		return gcode.Reply{}, errDead
	}
	return ok, nil
}

func (w *walk) SaveApplied(_ context.Context, a store.Applied) (int64, error) {
	if w.dead() {
		return 0, errDead
	}
	a.N = int64(len(w.book) + 1)
	w.book = append(w.book, a)
	return a.N, nil
}

func (w *walk) round(v float64) int64 { return int64(math.Round(v/float64(w.step))) * w.step }

func (w *walk) keep() {
	w.saved = record.Plus(w.nodes, nil, 0)
	w.kept = nil // as the live one, once it is known
}

func (w *walk) last() store.Applied {
	if len(w.book) == 0 {
		return store.Applied{}
	}
	return w.book[len(w.book)-1]
}

func (w *walk) earlier() (store.Applied, bool) {
	for k := len(w.book) - 1; k >= 0; k-- {
		if a := w.book[k]; a.State == store.Kept {
			return a, true
		}
	}
	return store.Applied{}, false
}

func (w *walk) each(do func(i, j int)) {
	for j := range w.size {
		for i := range w.size {
			do(i, j)
		}
	}
}

// others have the printer hold a node, whatever was in it.
func (w *walk) others(i, j int, v float64) {
	w.nodes[j][i] = w.round(v)
	w.live[j][i] = content{others: w.nodes[j][i]}
	w.looks(i, j)
}

// looks notes that a node looks as if it had the correction, or as if it had it not.
func (w *walk) looks(i, j int) {
	c := &w.live[j][i]
	e, _ := w.earlier()
	for _, a := range []store.Applied{w.last(), e} {
		for k := int64(0); k < 2 && a.Before != nil; k++ {
			near := w.nodes[j][i] - a.Before[j][i] - k*a.Add[j][i]
			if c.ours != k*a.Add[j][i] && 4*abs(near) <= abs(a.Add[j][i])+4*w.step {
				c.open = true
			}
		}
	}
}

// bed is the bed as the printer would measure it now.
func (w *walk) bed(i, j int, scatter float64) float64 {
	return 150*math.Sin(float64(i)+float64(j)/2) + w.tilt*float64(i)/float64(w.size) + scatter*w.rnd.NormFloat64()
}

// edit has somebody change a node by some um.
func (w *walk) edit(i, j int, by int64) {
	was := w.nodes[j][i]
	w.nodes[j][i] = w.round(float64(was + by))
	c := &w.live[j][i]
	c.others += w.nodes[j][i] - was
	w.looks(i, j)
}

func abs(v int64) int64 { return max(v, -v) }

// same allows for what the printer cannot hold: half a step when it was measured, and
// half a step each of the two times when it was written.
func (w *walk) same(a, b int64) bool { return abs(a-b) <= w.step/10*15 }

// restart has the board restart: what was not kept is gone.
func (w *walk) restart() {
	w.nodes = record.Plus(w.saved, nil, 0)
	w.live = copied(w.kept)
	if next, ok := w.desk.Held(w.last(), w.nodes); ok && len(w.book) > 0 {
		_, _ = w.SaveApplied(context.Background(), next)
	}
}

func copied(c [][]content) [][]content {
	out := make([][]content, len(c))
	for j := range c {
		out[j] = append(out[j], c[j]...)
	}
	return out
}

// doing carries an act through, that the program may not survive, and holds what then
// stands to what stood.
func (w *walk) doing(name string, do func() (store.Applied, error)) {
	w.each(w.looks)
	was, nodes, state := copied(w.live), record.Plus(w.nodes, nil, 0), w.last()
	oldKept, oldSaved := w.kept, w.saved
	w.asks, w.dies = 0, 0
	if rapid.IntRange(0, 2).Draw(w.t, "survives") == 0 {
		w.dies = rapid.IntRange(1, 3*w.size*w.size).Draw(w.t, "dies at")
	}
	_, err := do()
	w.dies = 0
	if a := w.last(); a.State == store.Writing || a.State == store.Verifying {
		a.State = store.Unfinished // as the next start finds it
		_, _ = w.SaveApplied(context.Background(), a)
	}
	a := w.last()
	w.stepped[name+" "+string(a.State)]++
	w.t.Logf("%s: %s -> %s %q, %v", name, state.State, a.State, a.Says, err)
	w.back = a.State == store.Kept && name != "apply" && name != "re-apply" && a.Digest != state.Digest
	wrote := len(w.book) > 0 && a.N != state.N
	left, small := 0, true
	w.each(func(i, j int) {
		c, v := &w.live[j][i], w.nodes[j][i]
		c.ours = w.ours(was[j][i], nodes[j][i], v, a, i, j, state)
		c.others = v - c.ours
		c.open = was[j][i].open && (a.State.Open() || w.back)
		if !wrote {
			if v != nodes[j][i] {
				w.t.Fatalf("%s wrote node %d,%d without a word in the journal", name, i, j)
			}
			*c = was[j][i]
			return
		}
		switch {
		case a.State == store.Kept && w.back && (strings.Contains(a.Says, "left as they are") || a.Correction().In(w.nodes).Whole != record.Everywhere):
			// The earlier correction is in force again as far as it was, and shown as that.
		case a.State == store.Kept && !w.same(c.ours, a.Add[j][i]):
			w.t.Fatalf("%s: kept, and node %d,%d has %d of %d um", name, i, j, c.ours, a.Add[j][i])
		case a.State == store.Undone || a.State == store.PutBack:
			if c.ours != 0 && !w.same(c.ours, 0) {
				left++
				small = small && abs(c.ours) < 4*30
				*c = content{others: v} // the person was told
			}
		}
	})
	// One or two nodes with less than four times the scatter, which somebody changed since,
	// cannot be told from the rest of a map that was measured anew.
	lost := left < 3 && small && strings.Contains(a.Says, "measured again")
	if left > 0 && !lost && !strings.Contains(a.Says, "left as they are") {
		w.t.Fatalf("%s: %s, and %d nodes have the correction: %q", name, a.State, left, a.Says)
	}
	if w.kept == nil { // it was kept in between
		w.kept = copied(w.live)
		w.each(func(i, j int) {
			w.kept[j][i].ours += 0
			w.kept[j][i].others = w.saved[j][i] - w.kept[j][i].ours
		})
		if !a.State.Open() && fmt.Sprint(w.saved) != fmt.Sprint(w.nodes) {
			w.t.Fatalf("%s: %s, and what is kept is another map", name, a.State)
		}
	} else if fmt.Sprint(oldSaved) != fmt.Sprint(w.saved) {
		w.t.Fatal("the walk lost what is kept")
	}
	_ = oldKept
}

// ours is what of the correction a node has after an act, where only one thing can be;
// it fails where the node has something that nobody put there.
func (w *walk) ours(was content, before, now int64, a store.Applied, i, j int, state store.Applied) int64 {
	if now == before {
		if was.open && a.State == store.Kept && !w.back && a.N != state.N {
			return a.Add[j][i]
		}
		if was.open && !w.back && !a.State.Open() && a.N != state.N {
			return 0
		}
		return was.ours
	}
	var may []int64
	may = append(may, 0, a.Add[j][i])
	if a.Under != nil {
		may = append(may, a.Under[j][i])
	}
	best, off := int64(0), int64(math.MaxInt64)
	for _, ours := range may {
		from := []int64{was.others}
		if state.State.Open() && !state.Undo { // a node that was spoilt, as far as the program can know, when an apply was cut off
			from = append(from, a.Before[j][i])
		}
		for _, f := range from {
			if d := abs(now - f - ours); d < off || d <= off+w.step/10 && a.State == store.Kept && ours == a.Add[j][i] {
				best, off = ours, d
			}
		}
	}
	if w.same(off, 0) {
		return best
	}
	if was.open {
		for _, by := range may {
			if w.same(now, before+by) {
				return a.Add[j][i]
			} else if w.same(now, before-by) || w.same(now, a.Before[j][i]) {
				return 0
			}
		}
	}
	w.t.Fatalf("node %d,%d: others put %d um there, %d of ours was in it; it held %d and holds %d, correction %d (%s)", i, j, was.others, was.ours, before, now, a.Add[j][i], a.State)
	return 0
}

// approved makes a run on the map as it is, and has a person approve what it finds.
func (w *walk) approved() (store.Applied, error) {
	a := w.last()
	var under [][]int64
	if a.State == store.Kept {
		switch a.Correction().In(w.nodes).Whole {
		case record.Everywhere:
			under = a.Add
		case record.Nowhere:
		default:
			return a, errors.New("refused: the map is stale")
		}
	}
	if a.Before != nil {
		s := a.Correction().In(w.nodes)
		w.t.Logf("approve: whole %d, nodes %v, under %v; map %v before %v add %v", s.Whole, s.Nodes, under != nil, w.nodes, a.Before, a.Add)
	}
	share := rapid.Float64Range(0.6, 1.2).Draw(w.t, "share")
	t := analysis.Table{Printer: "p", Columns: w.size, Rows: w.size, Area: record.Rect{X1: 200, Y1: 200}, Lever: record.Lever{Y: 40}}
	if under != nil {
		t.Parent = a.Digest
	}
	for j := range w.size {
		for i := range w.size {
			n := analysis.Node{I: i, J: j, Before: w.nodes[j][i], Add: int64(share * float64(w.twist[j][i]))}
			if under != nil {
				n.Add -= under[j][i]
			}
			t.Nodes = append(t.Nodes, n)
		}
	}
	if most, _ := analysis.Extremes(t.Adds(), t.Area); most < 0.03 {
		return a, errors.New("refused: not needed")
	}
	t.Digest = t.Sum()
	w.tables[t.Digest] = t
	next := apply.Intent(t, "run", "a person", under)
	if err := w.desk.Check(context.Background(), next); err != nil {
		return a, err
	}
	origin := record.Plus(w.nodes, under, -1)
	w.origins[next.Digest] = origin
	return w.desk.Apply(context.Background(), next)
}

func (w *walk) again() (store.Applied, error) {
	a := w.last()
	c := record.DefaultCriteria()
	t, next, err := apply.Again(a, w.tables[a.Digest], record.Plus(w.nodes, nil, 0), c)
	if err != nil {
		return a, err
	}
	w.tables[t.Digest] = t
	w.origins[next.Digest] = w.origins[a.Digest]
	w.each(func(i, j int) {
		if total := w.nodes[j][i] + next.Add[j][i] - w.origins[a.Digest][j][i]; abs(total) > 500 {
			w.t.Fatalf("node %d,%d would be %d um from the map that was first measured", i, j, total)
		}
		if c := w.live[j][i]; c.ours != 0 && !c.open && abs(c.ours) >= 63 {
			w.t.Fatalf("node %d,%d has %d um of ours, and would get %d more", i, j, c.ours, next.Add[j][i])
		}
	})
	if err := w.desk.Check(context.Background(), next); err != nil {
		return a, err
	}
	return w.desk.Apply(context.Background(), next)
}

// TestWalk: whatever others do to the printer's map, and whenever the program dies, each
// node holds what others put there and the correction once or not at all; after a kept
// apply once, after an undo not; the whole is within the limits of a correction over any
// number of re-applies; and a map is kept half written only while the journal is open.
//
//	go test ./daemon/apply -run TestWalk -v -walks 2000
func TestWalk(t *testing.T) {
	words, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	_ = flag.Set("rapid.checks", fmt.Sprint(*walks))
	defer func() { _ = flag.Set("rapid.checks", "100") }()
	stepped := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		w := &walk{t: t, rnd: rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)), size: rapid.SampledFrom([]int{5, 7}).Draw(t, "size"),
			step: rapid.SampledFrom([]int64{1, 1, 10}).Draw(t, "step"), tables: map[string]analysis.Table{}, origins: map[string][][]int64{}, stepped: stepped}
		w.desk = apply.Desk{Writer: apply.Writer{Line: w, Words: words}, Journal: w, Now: time.Now, Largest: 501, Earlier: w.earlier}
		bow := rapid.Float64Range(-150, 150).Draw(t, "bow")
		for j := range w.size {
			w.nodes, w.live, w.twist = append(w.nodes, make([]int64, w.size)), append(w.live, make([]content, w.size)), append(w.twist, make([]int64, w.size))
			for i := range w.size {
				x := 2*float64(i)/float64(w.size-1) - 1
				w.twist[j][i] = int64(200*x + bow*x*x)
				w.others(i, j, w.bed(i, j, 0))
			}
		}
		w.keep()
		w.kept = copied(w.live)
		node := rapid.IntRange(0, w.size-1)
		scatter := rapid.Float64Range(5, 30)
		by := rapid.Custom(func(t *rapid.T) int64 {
			return rapid.Int64Range(5, 500).Draw(t, "um") * rapid.SampledFrom([]int64{-1, 1}).Draw(t, "sign")
		})
		open := func() bool { return w.last().State.Open() }
		when := func(may bool) {
			if !may {
				t.Skip("not now")
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"somebody edits": func(t *rapid.T) {
				for range rapid.IntRange(1, 4).Draw(t, "nodes") {
					w.edit(node.Draw(t, "i"), node.Draw(t, "j"), by.Draw(t, "by"))
				}
			},
			"a row is measured anew": func(t *rapid.T) {
				j, s := node.Draw(t, "row"), scatter.Draw(t, "scatter")
				for i := range w.size {
					w.others(i, j, w.bed(i, j, s))
				}
			},
			"all is measured anew": func(t *rapid.T) {
				s := scatter.Draw(t, "scatter")
				w.tilt += rapid.Float64Range(-40, 40).Draw(t, "tilt")
				w.each(func(i, j int) { w.others(i, j, w.bed(i, j, s)) })
			},
			"somebody keeps":     func(*rapid.T) { w.keep(); w.kept = copied(w.live) },
			"the board restarts": func(*rapid.T) { w.restart() },
			"approve and apply":  func(*rapid.T) { when(!open()); w.doing("apply", w.approved) },
			"re-apply":           func(*rapid.T) { when(w.last().State == store.Kept); w.doing("re-apply", w.again) },
			"anew, re-apply": func(t *rapid.T) {
				when(w.last().State == store.Kept)
				s := scatter.Draw(t, "scatter")
				w.each(func(i, j int) { w.others(i, j, w.bed(i, j, s)) })
				w.doing("re-apply", w.again)
			},
			"undo": func(*rapid.T) {
				when(w.last().State == store.Kept)
				w.doing("undo", func() (store.Applied, error) { return w.desk.Undo(context.Background(), w.last()) })
			},
			"resolve": func(t *rapid.T) {
				when(open())
				c := rapid.SampledFrom([]apply.Choice{apply.Finish, apply.TakeBack}).Draw(t, "choice")
				w.doing(string(c), func() (store.Applied, error) { return w.desk.Resolve(context.Background(), w.last(), c) })
			},
		})
	})
	t.Log(stepped)
}
