package analysis_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// TestOneRow: where one row only was gauged, nobody knows what the Y axis does. Inside
// the margin beside the row the intervals hold the truth (0.93 as design/2, 'How good it
// must be', over the machines of TestAnyMachine); no table is offered to nodes beside it,
// however small the bed is: of the nodes that it would correct one in ten is farther off
// than its doubt says, and where the Y axis moves, most are.
func TestOneRow(t *testing.T) {
	p := standard()
	y := p.zero.V
	row := grid(record.Rect{X0: 20, X1: 215, Y0: y, Y1: y}, 7, 1)
	p.places = slices.Concat([]record.Place{p.zero}, times(2, row), []record.Place{p.zero})
	area := func(half float64) record.Rect {
		return record.Rect{X0: 20, Y0: y - half, X1: 215, Y1: y + half}
	}
	inside, all, offered := 0, 0, 0
	for seed := range uint64(60) {
		m := anyMachine(seed + 1)
		p.area = area(60)
		run := simulate(m, p, seed+1)
		v := analysis.Judge(run)
		if v.Gap == nil {
			continue
		}
		for i := range 9 {
			for _, dv := range []float64{-15, 15} {
				q := record.Place{U: 20 + 195*float64(i)/8, V: y + dv}
				g, u95, why := v.Gap.At(q)
				if why != nil {
					t.Fatal(why)
				}
				all++
				if math.Abs(g-m.trueGap(q, p.zero)) <= u95 {
					inside++
				}
			}
		}
		_, r := v.Table(run)
		if r == nil {
			t.Fatalf("machine %d: a table for nodes 60 mm beside the only row that was gauged", seed)
		}
		if r.Code == analysis.NodeTooFar && !strings.Contains(r.Text+r.Hint, "row") {
			t.Errorf("machine %d: %+v", seed, r)
		}
		p.area = area(14)
		run = simulate(m, p, seed+1)
		if _, r := analysis.Judge(run).Table(run); r == nil {
			offered++
		}
	}
	if coverage := float64(inside) / float64(all); coverage < 0.93 {
		t.Errorf("beside the row the intervals hold the truth in %.3f of %d", coverage, all)
	}
	if offered < 10 {
		t.Errorf("a map within the strip was offered %d tables of 60", offered)
	}
}

// TestOutward: a run with one row, or with rows that leave nodes of the stored map too far
// outside, asks for the places that its table wants, and goes on until it is offered; one
// whose rows reach far enough asks for nothing of the kind.
func TestOutward(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.12*x + 0.06*x*y + 0.05*y })
	for name, c := range map[string]struct {
		rows []float64
		why  string
	}{
		"one row":            {[]float64{132.5}, "you gauged one row only"},
		"two rows, in front": {[]float64{132.5, 60}, "the bed map reaches"},
		"three rows":         {[]float64{132.5, 50, 215}, ""},
	} {
		for seed := range uint64(5) {
			p := standard()
			p.places = []record.Place{p.zero}
			for _, v := range c.rows {
				p.places = append(p.places, times(2, grid(record.Rect{X0: 20, X1: 215, Y0: v, Y1: v}, 5, 1))...)
			}
			p.places = append(p.places, p.zero)
			p.area = record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}
			run := simulate(m, p, seed+1)
			v := analysis.Judge(run)
			a, ok := v.More(run)
			if c.why == "" {
				if ok && (strings.Contains(a.Why, "row") || strings.Contains(a.Why, "node")) {
					t.Errorf("%s, seed %d: %+v", name, seed, a)
				}
				continue
			}
			if _, r := v.Table(run); r == nil {
				t.Errorf("%s, seed %d: a table", name, seed)
			}
			if !ok || !strings.Contains(a.Why, c.why) || a.Told {
				t.Errorf("%s, seed %d: %v, %+v", name, seed, ok, a)
				continue
			}
			if area := v.Gap.Area.Grown(v.Gap.Margin); area.Has(a.Place) {
				t.Errorf("%s, seed %d: %s lies where was gauged", name, seed, a.Place)
			}
			now, places := run, []record.Place(nil)
			for range 10 {
				if a, ok = v.More(now); !ok {
					break
				}
				places = append(places, a.Place)
				now = joined(run, gaugedLater(m, "later", seed, places...))
				v = analysis.Judge(now)
			}
			if len(v.Later) == 0 || v.Later[0].Contradicts {
				t.Errorf("%s, seed %d: what is new beside the row is called a contradiction: %+v", name, seed, v.Later)
			}
			if _, r := v.Table(now); r != nil {
				t.Errorf("%s, seed %d: after %v no table: %+v", name, seed, places, r)
			}
		}
	}
}
