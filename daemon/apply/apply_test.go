package apply_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/analysis"
	"abbed/daemon/apply"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// printer is a stored map that answers, and fails as it is told to.
type printer struct {
	nodes [][]int64
	kept  [][]int64
	asked int
	// failAt is the question (from 1) at which what happens; 0: never.
	failAt  int
	failure error
	refuse  string // the answer to a node that is refused, from then on for that question only
	wrong   int64  // is added to a node as it is written, at failAt
}

func (p *printer) Ask(_ context.Context, q gcode.Query) (gcode.Reply, error) {
	p.asked++
	now := p.asked == p.failAt
	if now && p.failure != nil {
		return gcode.Reply{}, p.failure
	}
	var i, j int
	var z float64
	switch text := q.Text(); {
	case text == "M500":
		p.kept = clone(p.nodes)
	case text == "M420 V":
		return p.print(), nil
	default:
		if n, err := fmt.Sscanf(text, "M421 I%d J%d Z%f", &i, &j, &z); n != 3 {
			return gcode.Reply{}, fmt.Errorf("not understood: %s: %w", text, err)
		}
		if now && p.refuse != "" {
			return gcode.Reply{Lines: []gcode.Line{gcode.ParseLine([]byte(p.refuse))}, OK: gcode.ParseLine([]byte("ok"))}, nil
		}
		p.nodes[j][i] = int64(z*1000 + 0.5)
		if z < 0 {
			p.nodes[j][i] = int64(z*1000 - 0.5)
		}
		if now {
			p.nodes[j][i] += p.wrong
		}
	}
	return gcode.Reply{OK: gcode.ParseLine([]byte("ok"))}, nil
}

func (p *printer) print() gcode.Reply {
	r := gcode.Reply{OK: gcode.ParseLine([]byte("ok"))}
	for j, row := range p.nodes {
		text := fmt.Sprint(j)
		for _, v := range row {
			text += fmt.Sprintf("  %.3f", float64(v)/1000)
		}
		r.Lines = append(r.Lines, gcode.ParseLine([]byte(text)))
	}
	return r
}

func clone(a [][]int64) [][]int64 {
	out := make([][]int64, len(a))
	for j := range a {
		out[j] = slices.Clone(a[j])
	}
	return out
}

// journal keeps entries, or fails at one.
type journal struct {
	states []store.State
	failAt int
}

func (j *journal) SaveApplied(_ context.Context, a store.Applied) (int64, error) {
	if len(j.states)+1 == j.failAt {
		return 0, errors.New("disk full")
	}
	j.states = append(j.states, a.State)
	return int64(len(j.states)), nil
}

var (
	before = [][]int64{{10, -20, 30}, {40, 50, -60}, {0, 80, 90}}
	add    = [][]int64{{-5, 0, 5}, {-15, 0, 15}, {-25, 0, 25}}
	after  = [][]int64{{5, -20, 35}, {25, 50, -45}, {-25, 80, 115}}
)

func table() analysis.Table {
	t := analysis.Table{Digest: "d", Printer: "p", Columns: 3, Rows: 3, Lever: record.Lever{Y: 40}}
	for j := range before {
		for i := range before[j] {
			t.Nodes = append(t.Nodes, analysis.Node{I: i, J: j, Before: before[j][i], Add: add[j][i]})
		}
	}
	return t
}

func set(t *testing.T) (*printer, *journal, apply.Desk, store.Applied) {
	t.Helper()
	words, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	p, j := &printer{nodes: clone(before), kept: clone(before)}, &journal{}
	d := apply.Desk{Writer: apply.Writer{Line: p, Words: words}, Journal: j, Now: time.Now, Largest: 500}
	return p, j, d, apply.Intent(table(), "run", "a person", nil)
}

func TestApplyAndUndo(t *testing.T) {
	p, j, d, a := set(t)
	if err := d.Check(t.Context(), a); err != nil {
		t.Fatal(err)
	}
	a, err := d.Apply(t.Context(), a)
	if err != nil || a.State != store.Kept || !reflect.DeepEqual(p.nodes, after) || !reflect.DeepEqual(p.kept, after) {
		t.Fatalf("apply: %s, %v, %v", a.State, err, p.nodes)
	}
	a, err = d.Undo(t.Context(), a)
	if err != nil || a.State != store.Undone || !reflect.DeepEqual(p.nodes, before) || !reflect.DeepEqual(p.kept, before) {
		t.Fatalf("undo: %s, %v, %v", a.State, err, p.nodes)
	}
	want := []store.State{store.Writing, store.Verifying, store.Kept, store.Writing, store.Verifying, store.Undone}
	if !slices.Equal(j.states, want) {
		t.Errorf("journal %v", j.states)
	}
}

// Nothing but a whole map is ever kept, whatever fails at whatever question; and
// if the map is not as it was, the journal is open or says so.
func TestEveryFailure(t *testing.T) {
	for name, spoil := range map[string]func(*printer){
		"the line is lost":    func(p *printer) { p.failure = fmt.Errorf("ask: %w", gcode.ErrLost) },
		"the printer refuses": func(p *printer) { p.failure = &gcode.FaultError{Command: "M421"} },
		"a node is refused":   func(p *printer) { p.refuse = "Error: no such node" },
		"a node is rounded":   func(p *printer) { p.wrong = 10 },
	} {
		for at := 1; at <= 12; at++ {
			t.Run(fmt.Sprintf("%s at question %d", name, at), func(t *testing.T) {
				p, j, d, a := set(t)
				p.failAt = at
				spoil(p)
				a, err := d.Apply(t.Context(), a)
				last := j.states[len(j.states)-1]
				if last != a.State {
					t.Errorf("the journal ends with %s, the answer is %s", last, a.State)
				}
				if !reflect.DeepEqual(p.kept, before) && !reflect.DeepEqual(p.kept, after) {
					t.Errorf("half a map is kept: %v", p.kept)
				}
				switch {
				case err == nil:
					if a.State != store.Kept || !reflect.DeepEqual(p.nodes, after) {
						t.Errorf("no error, but %s and %v", a.State, p.nodes)
					}
				case a.State == store.PutBack:
					if !reflect.DeepEqual(p.nodes, before) {
						t.Errorf("put back, but %v", p.nodes)
					}
				case a.State == store.Unfinished:
					p.failAt = 0
					for choice, want := range map[apply.Choice][][]int64{apply.Finish: after, apply.TakeBack: before} {
						q := &printer{nodes: clone(p.nodes), kept: clone(p.kept)}
						d.Line = q
						b, err := d.Resolve(t.Context(), a, choice)
						if err != nil || !reflect.DeepEqual(q.nodes, want) || !reflect.DeepEqual(q.kept, want) {
							t.Errorf("%s: %s, %v, %v", choice, b.State, err, q.nodes)
						}
					}
				case a.State != store.Failed:
					t.Errorf("%s: %v", a.State, err)
				}
			})
		}
	}
}

// What cannot be written down must not happen.
func TestNoJournalNoWrite(t *testing.T) {
	p, j, d, a := set(t)
	j.failAt = 1
	if _, err := d.Apply(t.Context(), a); err == nil {
		t.Error("no error")
	}
	if p.asked != 0 {
		t.Errorf("%d questions were put to the printer without an intent", p.asked)
	}
}

func TestMapChanged(t *testing.T) {
	p, _, d, a := set(t)
	p.nodes[1][1]++
	var e *record.Problem
	if err := d.Check(t.Context(), a); !errors.As(err, &e) || e.Code != "map-changed" {
		t.Errorf("apply: %v", err)
	}
}

// What was cut off is finished or taken back where the nodes tell; a node that was
// spoilt gets what the journal says, within the limit of a correction. A map that was
// measured anew is taken back without a word to its nodes, and not finished.
func TestResolveNewMap(t *testing.T) {
	all := func(to func(i, j int) int64) func([][]int64) {
		return func(n [][]int64) {
			for j := range n {
				for i := range n[j] {
					n[j][i] = to(i, j)
				}
			}
		}
	}
	for name, c := range map[string]struct {
		change           func(nodes [][]int64)
		finish, takeBack string // the code of the refusal
		left             bool   // the nodes are left as they are
	}{
		"measured again":               {change: all(func(i, j int) int64 { return before[j][i] + 40 + int64(7*i-3*j) }), finish: "map-changed", left: true},
		"many are others":              {change: func(n [][]int64) { n[0][0], n[0][2], n[1][0], n[2][0] = 300, -300, 123, 77 }, finish: "map-changed", left: true},
		"a node was spoilt":            {change: func(n [][]int64) { n[2][2] = 434 }},
		"spoilt, and others are after": {change: func(n [][]int64) { n[2][2], n[1][0], n[0][0] = 434, 25, 5 }},
		"spoilt beyond the limit":      {change: func(n [][]int64) { n[2][2] = 1234 }, finish: "too-large", takeBack: "too-large", left: true},
		"all were rounded":             {change: all(func(i, j int) int64 { return after[j][i] / 10 * 10 })},
	} {
		for choice, want := range map[apply.Choice][][]int64{apply.TakeBack: before, apply.Finish: after} {
			p, j, d, a := set(t)
			c.change(p.nodes)
			if c.left || name == "all were rounded" && choice == apply.Finish { // the printer holds it as well as it can
				want = clone(p.nodes)
			}
			a.State = store.Unfinished
			a, err := d.Resolve(t.Context(), a, choice)
			code := map[apply.Choice]string{apply.TakeBack: c.takeBack, apply.Finish: c.finish}[choice]
			var e *record.Problem
			switch {
			case !reflect.DeepEqual(p.nodes, want):
				t.Errorf("%s, %s: %v, want %v", name, choice, p.nodes, want)
			case code != "" && (!errors.As(err, &e) || e.Code != code || e.Hint == "" || len(j.states) > 0):
				t.Errorf("%s, %s: %v, want %s and nothing in the journal: %v", name, choice, err, code, j.states)
			case code == "" && (err != nil || a.State.Open() || !reflect.DeepEqual(p.kept, want) || c.left == (a.Says == "")):
				t.Errorf("%s, %s: %s %q, %v, kept %v", name, choice, a.State, a.Says, err, p.kept)
			}
		}
	}
}

// Undo takes the correction out of the nodes that have it, by the largest correction at
// most, and leaves and names what others changed; what it leaves of a map that was
// measured anew is that map.
func TestUndoNodeByNode(t *testing.T) {
	big := [][]int64{{-150, 0, 150}, {-150, 0, 150}, {-150, 0, 150}}
	with := func(change func(n [][]int64)) [][]int64 {
		n := record.Plus(before, big, 1)
		change(n)
		return n
	}
	moved := func(n [][]int64) {
		for j := range n {
			for i := range n[j] {
				n[j][i] = before[j][i] + int64(i*j%4) - 7
			}
		}
	}
	for name, c := range map[string]struct {
		stands, want [][]int64
		says, code   string
		largest      int64
	}{
		"as written":     {stands: with(func([][]int64) {}), want: before},
		"near":           {stands: with(func(n [][]int64) { n[1][0] += 5 }), want: [][]int64{{10, -20, 30}, {45, 50, -60}, {0, 80, 90}}},
		"far":            {stands: with(func(n [][]int64) { n[1][0] += 90 }), want: [][]int64{{10, -20, 30}, {-20, 50, -60}, {0, 80, 90}}, says: "left as they are: (0,1). Have"},
		"no addition":    {stands: with(func(n [][]int64) { n[1][1] += 90 }), want: [][]int64{{10, -20, 30}, {40, 140, -60}, {0, 80, 90}}},
		"measured again": {stands: with(moved), want: with(moved), says: "measured again"},
		"another size":   {stands: [][]int64{{1, 2}, {3, 4}}, want: [][]int64{{1, 2}, {3, 4}}, says: "measured again"},
		"beyond limits":  {stands: with(func([][]int64) {}), want: with(func([][]int64) {}), largest: 149, code: "too-large"},
	} {
		p, j, d, a := set(t)
		a.State, a.Add, a.N = store.Kept, big, 1
		p.nodes = clone(c.stands)
		if c.largest > 0 {
			d.Largest = c.largest
		}
		a, err := d.Undo(t.Context(), a)
		var e *record.Problem
		switch {
		case !reflect.DeepEqual(p.nodes, c.want):
			t.Errorf("%s: %v, want %v", name, p.nodes, c.want)
		case c.code != "" && (!errors.As(err, &e) || e.Code != c.code || len(j.states) > 0):
			t.Errorf("%s: %v, journal %v", name, err, j.states)
		case c.code == "" && (err != nil || a.State != store.Undone || !reflect.DeepEqual(p.kept, c.want)):
			t.Errorf("%s: %s, %v, kept %v", name, a.State, err, p.kept)
		case !strings.Contains(a.Says, c.says) || c.says == "" && a.Says != "":
			t.Errorf("%s: says %q, want %q", name, a.Says, c.says)
		}
	}
}
