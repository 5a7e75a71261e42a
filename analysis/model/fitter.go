package model

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// fitter holds what all parts share.
type fitter struct {
	p     Prior
	m     Machine
	data  []Reading
	seen  []int // of the unknowns
	k     int   // seen + constants + drift
	rows  [][]float64
	beds  []reduced
	hands []weighed
	s     *system
	given []float64 // the logarithm of what the survey alone says for each member; NaN: not asked yet
	alone *system   // room for it
	plain reduced   // of a map that tells nothing
	sd    []float64 // room
}

// reduced is a survey with the bed, and what else no reading sees, integrated out.
type reduced struct {
	a   []float64 // seen x seen
	b   []float64
	log float64
}

// weighed are the readings' normal equations with one scatter of the hand.
type weighed struct {
	a   []float64 // k x k
	b   []float64
	w   []float64 // of each reading
	log float64
}

func newFitter(d *Data, m Machine, p Prior, sd float64) (*fitter, bool) {
	if len(d.Readings) == 0 {
		return nil, false
	}
	f := &fitter{p: p, m: m, data: d.Readings}
	constants, drifts := 0, 0
	var seen [firstBed]bool
	for _, r := range d.Readings {
		if math.IsNaN(r.Y) || math.IsInf(r.Y, 0) {
			return nil, false
		}
		constants = max(constants, r.Constant+1)
		if r.Along != 0 {
			constants = max(constants, r.Tilt+1)
		}
		if r.Late != 0 && len(p.Drifts) > 0 {
			drifts = 1
		}
		for i := range seen {
			seen[i] = seen[i] || r.Row[i] != 0
		}
	}
	for i, s := range seen {
		if s {
			f.seen = append(f.seen, i)
		}
	}
	n := len(f.seen)
	f.k = n + constants + drifts
	f.s = newSystem(f.k)
	for _, r := range d.Readings {
		row := make([]float64, f.k)
		for j, i := range f.seen {
			row[j] = r.Row[i]
		}
		row[n+r.Constant] = 1
		if r.Along != 0 {
			row[n+r.Tilt] = r.Along
		}
		if drifts > 0 {
			row[f.k-1] = r.Late
		}
		f.rows = append(f.rows, row)
	}
	if drifts == 0 {
		f.p.Drifts = nil
	}
	for _, bed := range p.Beds {
		f.beds = append(f.beds, d.reduce(f, bed, sd))
	}
	for _, h := range p.Hands {
		f.hands = append(f.hands, f.weigh(h))
	}
	f.given, f.alone, f.sd = make([]float64, len(p.Members)), newSystem(n), make([]float64, f.k)
	for i := range f.given {
		f.given[i] = math.NaN()
	}
	f.plain = reduced{a: make([]float64, n*n), b: make([]float64, n)}
	return f, true
}

// reduce integrates out the bed and what no reading sees (the Schur complement).
func (d *Data) reduce(f *fitter, bed [beds]float64, sd float64) reduced {
	n := len(f.seen)
	out := reduced{a: make([]float64, n*n), b: make([]float64, n)}
	if d.n == 0 {
		return out
	}
	w := 1 / (sd * sd)
	at := func(i, j int) float64 { return w * d.a.Data[min(i, j)*surveyed+max(i, j)] }
	var rest []int
	var sds []float64
	for i := range surveyed {
		var s float64
		switch {
		case i == width:
			s = f.p.Tram
		case i >= firstBed:
			s = bed[i-firstBed]
		case !slices.Contains(f.seen, i):
			s = f.p.Unread[i]
		}
		if s > 0 && d.a.Data[i*surveyed+i] > 0 {
			rest, sds = append(rest, i), append(sds, s)
		}
	}
	s := newSystem(len(rest))
	x := blas64.General{Rows: len(rest), Cols: n, Stride: n, Data: make([]float64, len(rest)*n)}
	for a, i := range rest {
		for b := a; b < len(rest); b++ {
			s.a.Data[a*s.n+b] = at(i, rest[b]) * sds[a] * sds[b]
		}
		s.a.Data[a*s.n+a]++
		s.b[a] = w * d.b[i] * sds[a]
		for b, j := range f.seen {
			x.Data[a*n+b] = at(i, j) * sds[a]
		}
	}
	if !s.factor() {
		return out
	}
	blas64.Trsm(blas.Left, blas.Trans, 1, s.u, x)
	for a, i := range f.seen {
		out.b[a] = w * d.b[i]
		for b, j := range f.seen {
			out.a[a*n+b] = at(i, j)
		}
	}
	blas64.Gemm(blas.Trans, blas.NoTrans, -1, x, x, 1, blas64.General{Rows: n, Cols: n, Stride: n, Data: out.a})
	blas64.Gemv(blas.Trans, -1, x, blas64.Vector{N: s.n, Inc: 1, Data: s.q}, 1, blas64.Vector{N: n, Inc: 1, Data: out.b})
	out.log = s.explained()/2 - s.logDet()
	return out
}

// survey returns the logarithm of the marginal likelihood of the survey alone.
func (f *fitter) survey(s *system, m *Member) float64 {
	if m.Bed < 0 || f.beds[m.Bed].log == 0 {
		return 0
	}
	n, bed := len(f.seen), &f.beds[m.Bed]
	for a, i := range f.seen {
		at := s.a.Data[a*n : a*n+n]
		if m.SD[i] == 0 {
			clear(at)
			at[a], s.b[a] = 1, 0
			continue
		}
		for b := a; b < n; b++ {
			at[b] = bed.a[a*n+b] * m.SD[i] * m.SD[f.seen[b]]
		}
		at[a]++
		s.b[a] = bed.b[a] * m.SD[i]
	}
	if !s.factor() {
		return 0
	}
	return bed.log + s.explained()/2 - s.logDet()
}

func (f *fitter) weigh(h Hand) weighed {
	out := weighed{a: make([]float64, f.k*f.k), b: make([]float64, f.k), log: h.Log}
	for i, r := range f.data {
		v := r.U * r.U
		if r.Hand {
			v += h.SD * h.SD
		}
		v = math.Max(v, 1e-14)
		out.w = append(out.w, 1/v)
		out.log -= (math.Log(v) + r.Y*r.Y/v) / 2
		out.gain(f.rows[i], r.Y, 1/v)
	}
	return out
}

// gain adds a reading of weight w, or takes one away.
func (n *weighed) gain(row []float64, y, w float64) {
	k := len(row)
	for i, x := range row {
		if x == 0 {
			continue
		}
		n.b[i] += w * x * y
		for j := i; j < k; j++ {
			n.a[i*k+j] += w * x * row[j]
		}
	}
}

// sds returns the standard deviations of the unknowns of a part.
func (f *fitter) sds(t Part) []float64 {
	out := f.sd
	m := &f.p.Members[t.Member]
	for j, i := range f.seen {
		out[j] = m.SD[i]
	}
	for j := len(f.seen); j < f.k; j++ {
		out[j] = f.p.Level
	}
	if len(f.p.Drifts) > 0 {
		out[f.k-1] = 0
		if t.Drift >= 0 {
			out[f.k-1] = f.p.Drifts[t.Drift].SD
		}
	}
	return out
}

// load sets up the system of a part, its unknowns scaled by sd.
func (f *fitter) load(t Part, sd []float64) (log float64) {
	m, h := &f.p.Members[t.Member], &f.hands[t.Hand]
	bed := &f.plain
	if m.Bed >= 0 {
		bed = &f.beds[m.Bed]
	}
	if math.IsNaN(f.given[t.Member]) {
		f.given[t.Member] = 0
		if f.p.Given {
			f.given[t.Member] = f.survey(f.alone, m)
		}
	}
	log = m.Log + bed.log + h.log - f.given[t.Member]
	if t.Drift >= 0 {
		log += f.p.Drifts[t.Drift].Log
	}
	var row []float64
	var less, y float64
	if t.Slip >= 0 {
		row, y = f.rows[t.Slip], f.data[t.Slip].Y
		w := h.w[t.Slip]
		more := 1 + f.p.Slip*f.p.Slip*w
		less = w - w/more
		log += f.p.SlipLog - math.Log(more)/2 + less*y*y/2
	}
	n, k, a := len(f.seen), f.k, f.s.a.Data
	for i := range k {
		if sd[i] == 0 {
			clear(a[i*k : i*k+k])
			a[i*k+i], f.s.b[i] = 1, 0
			continue
		}
		v := h.b[i]
		if i < n {
			v += bed.b[i]
		}
		from, ha := i*k, h.a[i*k:i*k+k]
		for j := i; j < n; j++ {
			a[from+j] = (ha[j] + bed.a[i*n+j]) * sd[i] * sd[j]
		}
		for j := max(i, n); j < k; j++ {
			a[from+j] = ha[j] * sd[i] * sd[j]
		}
		if less > 0 {
			v -= less * row[i] * y
			for j := i; j < k; j++ {
				a[from+j] -= less * row[i] * row[j] * sd[i] * sd[j]
			}
		}
		a[from+i]++
		f.s.b[i] = v * sd[i]
	}
	return log
}
