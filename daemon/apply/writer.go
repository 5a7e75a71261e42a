package apply

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"abbed/gcode"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Line asks the printer.
type Line interface {
	Ask(context.Context, gcode.Query) (gcode.Reply, error)
}

func fail(err error, code, hint, text string, args ...any) *record.Problem {
	return &record.Problem{Code: code, Hint: hint, Text: fmt.Sprintf(text, args...), Cause: err}
}

// Writer reads and writes the printer's stored map.
type Writer struct {
	Line  Line
	Words *dialect.Dialect
	// Show is told how many nodes are done; nil: nobody asks.
	Show func(done, of int)
	// Turn says that the program is ending: a correction of which less than half is written
	// is put back then, else finished. nil: it goes on.
	Turn func() bool
}

// Read returns the stored map.
func (w Writer) Read(ctx context.Context) ([][]int64, error) {
	r, err := w.Line.Ask(ctx, w.Words.Map())
	if err != nil {
		return nil, fail(err, "failed", "check the cable and the printer, then try again", "read the bed map")
	}
	rows, ok, err := w.Words.ReadMap(r)
	if err != nil || !ok {
		return nil, fail(err, "map-unreadable", "does the printer still hold a map? See what abbed doctor says", "read the bed map: no map in the answer")
	}
	return rows, nil
}

// write writes the nodes of to that differ from now.
func (w Writer) write(ctx context.Context, now, to [][]int64) error {
	todo := apart(now, to)
	for k, n := range todo {
		w.show(k, len(todo))
		if err := ctx.Err(); err != nil {
			return fail(err, "failed", "finish or undo what was begun", "write the map: interrupted")
		}
		if w.Turn != nil && 2*k < len(todo) && w.Turn() {
			return fail(nil, "interrupted", "apply it again", "write the map: the program was ended")
		}
		r, err := w.Line.Ask(ctx, w.Words.Node(n.I, n.J, to[n.J][n.I]))
		if err != nil {
			return fail(err, "failed", "see what the printer says", "write node %d,%d", n.I, n.J)
		}
		for _, l := range r.Lines {
			if l.Kind == gcode.Fault {
				return fail(nil, "node-refused", "see what the printer says", "write node %d,%d: the printer answers %q", n.I, n.J, l.Text)
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

// readFor reads the map; where it is not fine, until two prints are alike: a print may
// be damaged on the way.
func (w Writer) readFor(ctx context.Context, fine func([][]int64) bool) ([][]int64, error) {
	var got, last [][]int64
	var err error
	for range 4 {
		if got, err = w.Read(ctx); err != nil && lost(err) {
			return nil, err
		} else if err != nil {
			continue
		}
		if fine(got) || last != nil && len(apart(got, last)) == 0 {
			return got, nil
		}
		last = got
	}
	if err != nil {
		return nil, err
	}
	return nil, fail(nil, "map-unreadable", "see what the printer says", "read the bed map: the printer prints it otherwise each time")
}

// readBack reads the map and compares it with what it should be, as finely as the
// printer prints it.
func (w Writer) readBack(ctx context.Context, want [][]int64) error {
	var off []node
	got, err := w.readFor(ctx, func(got [][]int64) bool {
		mute := record.Fineness(got) - 1
		off = slices.DeleteFunc(apart(got, want), func(n node) bool {
			d := got[n.J][n.I] - want[n.J][n.I]
			return max(d, -d) <= mute
		})
		return len(off) == 0
	})
	if err != nil {
		return err
	}
	if len(off) > 0 {
		return fail(nil, "read-back", "the printer may refuse nodes; see its documentation",
			"what was read back is not what was written: %s", list(off, got, want))
	}
	return nil
}

type node = record.NodeAt

// apart returns the nodes at which a and b differ; all of b if they have other sizes.
func apart(a, b [][]int64) (out []node) {
	same := record.SameSize(a, b)
	for j := range b {
		for i := range b[j] {
			if !same || a[j][i] != b[j][i] {
				out = append(out, node{I: i, J: j})
			}
		}
	}
	return out
}

// list names a few of the nodes, with what stands there.
func list(nodes []node, got, want [][]int64) string {
	if !record.SameSize(got, want) {
		return "the map has another size"
	}
	var b strings.Builder
	for k, n := range nodes {
		if k == 4 {
			fmt.Fprintf(&b, " and %d more", len(nodes)-k)
			break
		}
		fmt.Fprintf(&b, " (%d,%d) holds %.3f mm, not %.3f mm;", n.I, n.J, float64(got[n.J][n.I])/1000, float64(want[n.J][n.I])/1000)
	}
	return strings.TrimSpace(strings.TrimSuffix(b.String(), ";"))
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
