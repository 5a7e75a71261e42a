package apply

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"abbed/gcode"
	"abbed/gcode/dialect"
)

// Line asks the printer.
type Line interface {
	Ask(context.Context, gcode.Query) (gcode.Reply, error)
}

// Error is a failure or refusal with what the person can do.
type Error struct {
	Code string
	Text string
	Hint string
	Err  error
}

// Error gives text and cause.
func (e *Error) Error() string {
	if e.Err != nil {
		return fmt.Sprintf("apply: %s: %v", e.Text, e.Err)
	}
	return "apply: " + e.Text
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

func fail(err error, code, hint, text string, args ...any) *Error {
	return &Error{Code: code, Hint: hint, Text: fmt.Sprintf(text, args...), Err: err}
}

// Writer reads and writes the printer's stored map.
type Writer struct {
	Line  Line
	Words *dialect.Dialect
	// Show is told how many nodes are done; nil: nobody asks.
	Show func(done, of int)
}

// Read returns the stored map.
func (w Writer) Read(ctx context.Context) ([][]int64, error) {
	r, err := w.Line.Ask(ctx, w.Words.Map())
	if err != nil {
		return nil, fail(err, "failed", "check the cable and the printer, then try again", "read the stored map")
	}
	rows, ok, err := w.Words.ReadMap(r)
	if err != nil || !ok {
		return nil, fail(err, "map-unreadable", "does the printer still hold a map? See what abbed doctor says", "read the stored map: no map in the answer")
	}
	return rows, nil
}

// write writes the nodes of to that differ from now.
func (w Writer) write(ctx context.Context, now, to [][]int64) error {
	todo := differing(now, to)
	for k, n := range todo {
		w.show(k, len(todo))
		if err := ctx.Err(); err != nil {
			return fail(err, "failed", "finish or take back what was begun", "write the map: interrupted")
		}
		r, err := w.Line.Ask(ctx, w.Words.Node(n.i, n.j, to[n.j][n.i]))
		if err != nil {
			return fail(err, "failed", "see what the printer says", "write node %d,%d", n.i, n.j)
		}
		for _, l := range r.Lines {
			if l.Kind == gcode.Fault {
				return fail(nil, "node-refused", "see what the printer says", "write node %d,%d: the printer answers %q", n.i, n.j, l.Text)
			}
		}
	}
	w.show(len(todo), len(todo))
	return nil
}

func (w Writer) show(done, of int) {
	if w.Show != nil {
		w.Show(done, of)
	}
}

// readFor reads the map, and once more if it is not the wanted one: a print may
// be damaged on the way.
func (w Writer) readFor(ctx context.Context, want [][]int64) ([][]int64, error) {
	got, err := w.Read(ctx)
	if err == nil && sameShape(got, want) && len(differing(got, want)) == 0 || err != nil && lost(err) {
		return got, err
	}
	return w.Read(ctx)
}

// readBack reads the map and compares it with what it should be.
func (w Writer) readBack(ctx context.Context, want [][]int64) error {
	got, err := w.readFor(ctx, want)
	if err != nil {
		return err
	}
	if d := differing(got, want); !sameShape(got, want) || len(d) > 0 {
		return fail(nil, "read-back", "the printer may refuse nodes, or round them; see its documentation",
			"what was read back is not what was written: %s", list(d, got, want))
	}
	return nil
}

// node is the place of a node in the grid.
type node struct{ i, j int }

// differing returns the nodes at which a and b differ; all of b if their shapes
// differ.
func differing(a, b [][]int64) []node {
	var out []node
	same := sameShape(a, b)
	for j := range b {
		for i := range b[j] {
			if !same || a[j][i] != b[j][i] {
				out = append(out, node{i, j})
			}
		}
	}
	return out
}

func sameShape(a, b [][]int64) bool {
	return len(a) == len(b) && slices.EqualFunc(a, b, func(x, y []int64) bool { return len(x) == len(y) })
}

// list names a few of the nodes, with what stands there.
func list(nodes []node, got, want [][]int64) string {
	if !sameShape(got, want) {
		return "the map has another size"
	}
	var b strings.Builder
	for k, n := range nodes {
		if k == 4 {
			fmt.Fprintf(&b, " and %d more", len(nodes)-k)
			break
		}
		fmt.Fprintf(&b, " (%d,%d) holds %.3f mm, not %.3f mm;", n.i, n.j, float64(got[n.j][n.i])/1000, float64(want[n.j][n.i])/1000)
	}
	return strings.TrimSpace(strings.TrimSuffix(b.String(), ";"))
}

// plus returns a + b, node by node.
func plus(a, b [][]int64) [][]int64 {
	out := make([][]int64, len(a))
	for j := range a {
		out[j] = make([]int64, len(a[j]))
		for i := range a[j] {
			out[j][i] = a[j][i] + b[j][i]
		}
	}
	return out
}

// lost reports whether the line failed, so that nothing can be written any more.
func lost(err error) bool {
	for _, e := range []error{
		gcode.ErrSilent, gcode.ErrOverdue, gcode.ErrRestarted, gcode.ErrHalted, gcode.ErrLost,
		gcode.ErrStopped, gcode.ErrClosed, gcode.ErrGarbled, context.Canceled, context.DeadlineExceeded,
	} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}
