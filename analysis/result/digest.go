package result

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
)

// Sum returns the digest of t: SHA-256, hexadecimal, of one line a field, all
// lengths whole micrometres, so that it is the same on every machine:
//
//	abbed-table 1
//	printer <quoted>
//	lever <x> <y>
//	area <x0> <y0> <x1> <y1>
//	size <columns> <rows>
//	node <i> <j> <before> <add>     (as Nodes are ordered)
//	parent <quoted>
func (t Table) Sum() string {
	h := sha256.New()
	um := func(v float64) int64 { return int64(math.Round(v * 1000)) }
	fmt.Fprintf(h, "abbed-table 1\nprinter %q\nlever %d %d\n", t.Printer, um(t.Lever.X), um(t.Lever.Y))
	fmt.Fprintf(h, "area %d %d %d %d\nsize %d %d\n", um(t.Area.X0), um(t.Area.Y0), um(t.Area.X1), um(t.Area.Y1), t.Columns, t.Rows)
	for _, n := range t.Nodes {
		fmt.Fprintf(h, "node %d %d %d %d\n", n.I, n.J, n.Before, n.Add)
	}
	fmt.Fprintf(h, "parent %q\n", t.Parent)
	return hex.EncodeToString(h.Sum(nil))
}
