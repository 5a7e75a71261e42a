package steady

import (
	"cmp"
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/config/say"
	"abbed/probe/record"
)

// Survey is the dense pattern, freed of drift and play, on its grid.
type Survey struct {
	Touches []record.Touch // Z corrected
	columns []float64
	rows    []float64
	col     []int // of each touch
	row     []int
	grand   float64
	colEff  []float64
	rowEff  []float64
	nCol    []int
	nRow    []int
	rest    []float64 // of each touch about column + row
	odd     []Odd
}

// fewCells is the least number of touches that make a survey.
const fewCells = 9

// TakeSurvey takes the run's survey apart. It is nil without three columns, two
// rows and nine touches.
func TakeSurvey(run record.Run, s Steadiness) *Survey {
	ts := surveyed(run)
	for i := range ts {
		ts[i].Z = s.Level(ts[i]) - s.base.at(ts[i].T)
	}
	v := &Survey{Touches: ts}
	v.arrange()
	if len(v.columns) < 3 || len(v.rows) < 2 || len(ts) < fewCells || len(ts) < len(v.columns)+len(v.rows) {
		return nil
	}
	v.decompose()
	for range 6 {
		if !v.setAside(s.Sigma) {
			break
		}
		v.arrange()
		if len(v.columns) < 3 || len(v.rows) < 2 {
			return nil
		}
		v.decompose()
	}
	return v
}

// arrange finds columns and rows: places nearer than 0.75 mm are one. Where
// that makes more lines than a third of the touches (places at random), or wide
// ones (a dense pattern), they are gathered into twenty columns and seven rows.
func (v *Survey) arrange() {
	var us, vs []float64
	for _, t := range v.Touches {
		us, vs = append(us, t.Place.U), append(vs, t.Place.V)
	}
	v.columns, v.col = gridLines(us, 20)
	v.rows, v.row = gridLines(vs, 7)
}

func gridLines(x []float64, bins int) ([]float64, []int) {
	if len(x) == 0 {
		return nil, nil
	}
	c, which := Cluster(x, 0.75)
	if 3*len(c) <= len(x) && widest(x, which, len(c)) < 1.5 {
		return c, which
	}
	lo, hi := slices.Min(x), slices.Max(x)
	sum, n := make([]float64, bins), make([]float64, bins)
	which = make([]int, len(x))
	for i, v := range x {
		b := min(int(float64(bins)*(v-lo)/math.Max(hi-lo, 1e-9)), bins-1)
		which[i] = b
		sum[b] += v
		n[b]++
	}
	var out []float64
	at := make([]int, bins)
	for b := range bins {
		at[b] = len(out)
		if n[b] > 0 {
			out = append(out, sum[b]/n[b])
		}
	}
	for i := range which {
		which[i] = at[which[i]]
	}
	return out, which
}

// widest returns the largest extent of the n clusters: wide ones are no lines
// of a grid, but places so dense that they hang together.
func widest(x []float64, which []int, n int) float64 {
	lo, hi := make([]float64, n), make([]float64, n)
	for k := range n {
		lo[k], hi[k] = math.Inf(1), math.Inf(-1)
	}
	for i, v := range x {
		lo[which[i]], hi[which[i]] = min(lo[which[i]], v), max(hi[which[i]], v)
	}
	w := 0.0
	for k := range n {
		w = max(w, hi[k]-lo[k])
	}
	return w
}

// decompose finds mean + column + row by least squares: exact at once on a
// full grid, by turns where cells are missing.
func (v *Survey) decompose() {
	z := Heights(v.Touches)
	v.colEff, v.nCol = make([]float64, len(v.columns)), make([]int, len(v.columns))
	v.rowEff, v.nRow = make([]float64, len(v.rows)), make([]int, len(v.rows))
	v.grand = mean(z)
	for i := range z {
		v.nCol[v.col[i]]++
		v.nRow[v.row[i]]++
	}
	for range 100 {
		moved := v.turn(z, v.colEff, v.nCol, v.col, v.rowEff, v.row)
		moved = math.Max(moved, v.turn(z, v.rowEff, v.nRow, v.row, v.colEff, v.col))
		if moved < 1e-8 {
			break
		}
	}
	v.rest = make([]float64, len(z))
	for i := range z {
		v.rest[i] = z[i] - v.grand - v.colEff[v.col[i]] - v.rowEff[v.row[i]]
	}
}

func (v *Survey) turn(z, eff []float64, n []int, at []int, other []float64, otherAt []int) (moved float64) {
	next := make([]float64, len(eff))
	for i := range z {
		next[at[i]] += (z[i] - v.grand - other[otherAt[i]]) / float64(max(n[at[i]], 1))
	}
	total, count := 0.0, 0.0
	for k, m := range n {
		total += next[k] * float64(m)
		count += float64(m)
	}
	for k := range eff {
		e := next[k] - total/math.Max(count, 1)
		moved = math.Max(moved, math.Abs(e-eff[k]))
		eff[k] = e
	}
	return moved
}

// setAside takes out touches that stand out of column + row beyond six robust
// standard deviations while their two neighbours along the row do not follow,
// and reports whether there were any. Those less than half as far out as the
// farthest wait for the next turn: it may be what pulls their column away.
func (v *Survey) setAside(sigma float64) bool {
	limit := math.Max(6*math.Max(fit.MAD(v.rest), sigma), 0.03)
	beyond := func(e float64) bool { return math.Abs(e) > limit }
	if !slices.ContainsFunc(v.rest, beyond) {
		return false
	}
	offs, farthest := v.offNeighbours(), 0.0
	for i, e := range v.rest {
		if beyond(e) && beyond(offs[i]) {
			farthest = math.Max(farthest, math.Abs(offs[i]))
		}
	}
	kept := v.Touches[:0:0]
	for i, t := range v.Touches {
		off := offs[i]
		if beyond(v.rest[i]) && beyond(off) && 2*math.Abs(off) >= farthest && len(v.odd) < len(v.Touches)/10 {
			v.odd = append(v.odd, Odd{N: t.N, Place: t.Place, Off: off,
				Text: "this touch of the survey lies " + say.Fine(off) + " from its neighbours; it was set aside"})
			continue
		}
		kept = append(kept, t)
	}
	gone := len(kept) < len(v.Touches)
	v.Touches = kept
	return gone
}

// offNeighbours returns how far each touch's rest lies from the nearer of its
// neighbours' in the row; a missing one counts as 0.
func (v *Survey) offNeighbours() []float64 {
	type cell struct{ c, r int }
	at := map[cell]float64{}
	for i := range v.Touches {
		at[cell{v.col[i], v.row[i]}] = v.rest[i]
	}
	offs := make([]float64, len(v.Touches))
	for i, e := range v.rest {
		offs[i] = e - neighbour(at[cell{v.col[i] - 1, v.row[i]}], at[cell{v.col[i] + 1, v.row[i]}], e)
	}
	return offs
}

// neighbour returns whichever of a and b is nearer to e.
func neighbour(a, b, e float64) float64 {
	if math.Abs(a-e) < math.Abs(b-e) {
		return a
	}
	return b
}

// Bound returns the rectangle that the survey covers.
func (v *Survey) Bound() record.Rect {
	return record.Rect{X0: v.columns[0], Y0: v.rows[0], X1: v.columns[len(v.columns)-1], Y1: v.rows[len(v.rows)-1]}
}

// Near returns the height at p by a quadratic through the survey's touches
// around it, its standard uncertainty, and whether there are enough. A bowed
// bed between two touches is no error then. What the quadratic leaves beyond the
// scatter is the bed's own shape, which no number of touches beside p averages
// away: it counts whole.
func (v *Survey) Near(p record.Place, sigma float64) (z, u float64, ok bool) {
	rows, zs := v.around(p, 21)
	r, err := fit.Least(rows, zs, nil)
	if err != nil || r.DoF < 2 {
		return 0, 0, false
	}
	if r.Rank < 6 || r.Condition > 1e4 { // two rows only: no bend along Y
		for i := range rows {
			rows[i] = rows[i][:4]
		}
		if r, err = fit.Least(rows, zs, nil); err != nil || r.Rank < 4 || r.DoF < 2 {
			return 0, 0, false
		}
	}
	left := math.Sqrt(math.Max(r.S()*r.S()-sigma*sigma, 0))
	return r.Coef[0], math.Hypot(left, sigma*math.Sqrt(r.Unscaled.At(0, 0))), true
}

// around returns the touches nearest to p, n at most, as the terms of a
// quadratic about p and their heights. Columns and rows may be pitched
// differently: distance counts in pitches, along X half.
func (v *Survey) around(p record.Place, n int) (rows [][]float64, zs []float64) {
	type far struct{ d, du, dv, z float64 }
	b := v.Bound()
	pu := b.W() / float64(max(len(v.columns)-1, 1))
	pv := b.H() / float64(max(len(v.rows)-1, 1))
	fars := make([]far, len(v.Touches))
	for i, t := range v.Touches {
		du, dv := (t.Place.U-p.U)/pu, (t.Place.V-p.V)/pv
		fars[i] = far{math.Max(math.Abs(du)/2, math.Abs(dv)), du, dv, t.Z}
	}
	slices.SortStableFunc(fars, func(a, b far) int { return cmp.Compare(a.d, b.d) })
	for _, f := range fars[:min(len(fars), n)] {
		rows = append(rows, []float64{1, f.du, f.dv, f.du * f.du, f.du * f.dv, f.dv * f.dv})
		zs = append(zs, f.z)
	}
	return rows, zs
}
