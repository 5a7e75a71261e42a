package result

import (
	"encoding/json"
	"math"
	"slices"

	"abbed/probe/record"
)

// Table is a correction: what to add to the stored map at each node.
type Table struct {
	// Digest names this table and no other; see Sum.
	Digest string `json:"digest"`
	// Printer is the printer's fingerprint.
	Printer string `json:"printer"`
	// Nodes are rows along J from the smallest Y, columns along I.
	Nodes   []Node       `json:"nodes"`
	Columns int          `json:"columns"`
	Rows    int          `json:"rows"`
	Area    record.Rect  `json:"area"`
	Lever   record.Lever `json:"lever"`
	// Largest is the largest correction in force once the table is applied,
	// mm; Steepest its steepest slope between neighbouring nodes, mm per mm;
	// LargestU95 the largest 95 % half width, mm.
	Largest    float64 `json:"largest"`
	Steepest   float64 `json:"steepest"`
	LargestU95 float64 `json:"largest_u95"`
	// Parent is the digest of the table that this one stands on, or "".
	Parent string `json:"parent,omitempty"`
}

// Node is one node of a Table; lengths are whole micrometres.
type Node struct {
	I, J int
	record.Place
	// Before is the node as the printer printed it, Add what to add to it, U95
	// the half width of the 95 % interval of Add, um.
	Before, Add, U95 int64
	// Doubtful says that the bed map itself may be wrong here: what was touched nearby does
	// not fit with all else.
	Doubtful bool
}

// After returns what the node will hold, um.
func (n Node) After() int64 { return n.Before + n.Add }

type nodeJSON struct {
	I      int     `json:"i"`
	J      int     `json:"j"`
	U      float64 `json:"u"`
	V      float64 `json:"v"`
	Before float64 `json:"before"`
	Add    float64 `json:"add"`
	U95    float64 `json:"u95"`
	Doubt  bool    `json:"doubtful,omitempty"`
}

// MarshalJSON writes the node with lengths in mm.
func (n Node) MarshalJSON() ([]byte, error) {
	return json.Marshal(nodeJSON{n.I, n.J, n.U, n.V, float64(n.Before) / 1000, float64(n.Add) / 1000, float64(n.U95) / 1000, n.Doubtful})
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (n *Node) UnmarshalJSON(b []byte) error {
	var j nodeJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	um := func(v float64) int64 { return int64(math.Round(v * 1000)) }
	*n = Node{j.I, j.J, record.Place{U: j.U, V: j.V}, um(j.Before), um(j.Add), um(j.U95), j.Doubt}
	return nil
}

// Adds returns what the table adds, um, rows along J: as record.Applied and
// record.Map hold it.
func (t Table) Adds() [][]int64 { return t.grid(func(n Node) int64 { return n.Add }) }

// Befores returns the nodes as the printer printed them, um, rows along J.
func (t Table) Befores() [][]int64 { return t.grid(func(n Node) int64 { return n.Before }) }

// Afters returns what the nodes will hold, um, rows along J.
func (t Table) Afters() [][]int64 { return t.grid(Node.After) }

func (t Table) grid(of func(Node) int64) [][]int64 {
	g := make([][]int64, t.Rows)
	for j := range g {
		g[j] = make([]int64, t.Columns)
	}
	for _, n := range t.Nodes {
		g[n.J][n.I] = of(n)
	}
	return g
}

// Deepest returns the node at which the most negative of the additions is, um, rows along
// J: there what is in force is verified, since there the nozzle comes lowest.
func (t Table) Deepest(adds [][]int64) (Node, bool) {
	if len(t.Nodes) == 0 {
		return Node{}, false
	}
	return slices.MinFunc(t.Nodes, func(a, b Node) int { return int(adds[a.J][a.I] - adds[b.J][b.I]) }), true
}
