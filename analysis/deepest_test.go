package analysis_test

import (
	"testing"

	"abbed/analysis"
)

// A correction on top of another is verified where both together lower the nozzle most,
// not where the second one does.
func TestDeepest(t *testing.T) {
	c := analysis.Table{Columns: 2, Rows: 2, Nodes: []analysis.Node{{Add: 30}, {I: 1, Add: -40}, {J: 1, Add: 10}, {I: 1, J: 1}}}
	for name, k := range map[string]struct {
		adds [][]int64
		i, j int
	}{
		"itself":         {c.Adds(), 1, 0},
		"on top of one":  {[][]int64{{30, -60}, {-200, 0}}, 0, 1},
		"the last of it": {[][]int64{{0, 0}, {0, -1}}, 1, 1},
	} {
		if n, ok := c.Deepest(k.adds); !ok || n.I != k.i || n.J != k.j {
			t.Errorf("%s: node %d,%d, want %d,%d", name, n.I, n.J, k.i, k.j)
		}
	}
	if _, ok := (analysis.Table{}).Deepest(nil); ok {
		t.Error("a table without nodes has a deepest one")
	}
}
