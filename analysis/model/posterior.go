package model

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// Constants of the mixture.
const (
	// suspect is how many standard deviations from what the others foretell a reading
	// must lie to be asked for a slip at all, and mostSuspects how many are asked.
	suspect      = 2.2
	mostSuspects = 3
)

// Posterior is what the data leave: mean and covariance of all unknowns, those of the
// mixture of all members. It is immutable.
type Posterior struct {
	Machine Machine
	// Parts are the parts of the mixture that are worth keeping, the heaviest first.
	Parts []Part
	n     int // unknowns, constants and drift
	last  int // of the drift, -1 for none
	mean  []float64
	cov   []float64 // n x n
	data  []Reading
	hands []Hand
}

// Part is one part of the mixture.
type Part struct {
	// Weight is that in what is foretold, Doubt in the doubt of it.
	Weight, Doubt float64
	// Member, Hand and Drift number the prior's; Slip is the reading that is held to
	// be a slip, -1 for none.
	Member, Hand, Drift, Slip int
}

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

// Fit returns the posterior of the data; sd is the standard deviation of one touch of
// the survey, mm. The readings' values must be near 0 (a constant of Prior.Level
// apart). ok is false without readings, or where they are not finite.
//
// Each member is a linear model with independent normal priors: with the rows over
// the unknowns scaled by their standard deviations, A = X'WX + 1 and b = X'Wy, the
// mean is A^-1 b and the marginal likelihood
//
//	log p = (b'A^-1 b - y'Wy - log|A| + log|W|) / 2 + constant
//
// (Rasmussen, Williams, Gaussian Processes for Machine Learning, 2006, 2.1; the
// evidence: MacKay, Neural Computation 4, 1992; from memory). The mixture has the
// mean sum w m, the covariance sum v (C + (m - mean)(m - mean)') with v the weights in
// the doubt (Prior.Trust).
func (d *Data) Fit(m Machine, p Prior, sd float64) (*Posterior, bool) {
	f, ok := newFitter(d, m, p, sd)
	if !ok {
		return nil, false
	}
	hand := f.likelyHand()
	first := hopeful(f.ask(f.scouted(hand), hand), p.Leave)
	all := f.vary(first, f.suspects(first, hand))
	if len(all) == 0 {
		return nil, false
	}
	return f.mix(all), true
}

// ask tries members with one scatter of the hand.
func (f *fitter) ask(members []int, hand int) []trial {
	var out []trial
	for _, i := range members {
		if t, ok := f.try(Part{Member: i, Hand: hand, Drift: -1, Slip: -1}); ok {
			out = append(out, t)
		}
	}
	return out
}

// scouted are the members whose X and Y each come near the best with one of the scouts.
func (f *fitter) scouted(hand int) []int {
	var all, first []int
	for i, m := range f.p.Members {
		all = append(all, i)
		if slices.Contains(f.p.ScoutX, m.X) || slices.Contains(f.p.ScoutY, m.Y) {
			first = append(first, i)
		}
	}
	if f.p.ScoutX == nil {
		return all
	}
	x, y := map[int]bool{}, map[int]bool{}
	for _, t := range hopeful(f.ask(first, hand), 1.5*f.p.Leave) {
		m := f.p.Members[t.Member]
		x[m.X], y[m.Y] = true, true
	}
	return keepIf(all, func(i int) bool { return x[f.p.Members[i].X] && y[f.p.Members[i].Y] })
}

func keepIf(in []int, good func(int) bool) []int {
	var out []int
	for _, i := range in {
		if good(i) {
			out = append(out, i)
		}
	}
	return out
}

// trial is a part with the logarithm of its weight.
type trial struct {
	Part
	log  float64
	held float64 // of it before anything was read
}

// hopeful drops what lies too far below the best; the best comes first.
func hopeful(all []trial, nats float64) []trial {
	slices.SortStableFunc(all, func(a, b trial) int { return compare(b.log, a.log) })
	for i, t := range all {
		if t.log < all[0].log-nats {
			return all[:i]
		}
	}
	return all
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

// try weighs a part.
func (f *fitter) try(t Part) (trial, bool) {
	log := f.load(t, f.sds(t))
	if !f.s.factor() {
		return trial{}, false
	}
	log += f.s.explained()/2 - f.s.logDet()
	return trial{t, log, f.p.Members[t.Member].Log}, !math.IsNaN(log)
}

// likelyHand is the scatter under which the widest members together are likeliest.
func (f *fitter) likelyHand() int {
	best, top := 0, math.Inf(-1)
	for h := range f.hands {
		for i := range f.p.Members {
			if i%max(1, len(f.p.Members)/24) != 0 {
				continue
			}
			if t, ok := f.try(Part{Member: i, Hand: h, Drift: -1, Slip: -1}); ok && t.log > top {
				best, top = h, t.log
			}
		}
	}
	return best
}

// vary gives the members all scatters, and what is worth it all drifts and slips.
func (f *fitter) vary(first []trial, slips []int) []trial {
	var out []trial
	add := func(t Part) {
		if one, ok := f.try(t); ok {
			out = append(out, one)
		}
	}
	for _, t := range first {
		for h := range f.hands {
			add(Part{Member: t.Member, Hand: h, Drift: -1, Slip: -1})
		}
	}
	steady := hopeful(out, f.p.Leave)
	out = slices.Clone(steady)
	for _, t := range steady {
		for _, slip := range append([]int{-1}, slips...) {
			for drift := -1; drift < len(f.p.Drifts); drift++ {
				if slip >= 0 || drift >= 0 {
					add(Part{Member: t.Member, Hand: t.Hand, Drift: drift, Slip: slip})
				}
			}
		}
	}
	return hopeful(out, f.p.Leave)
}

// suspects are the readings at the hand that lie far from what the others foretell,
// by the best members.
func (f *fitter) suspects(first []trial, hand int) []int {
	if f.p.Slip == 0 || len(first) == 0 {
		return nil
	}
	type odd struct {
		i int
		z float64
	}
	var all []odd
	mean, cov := f.moments(first[0].Part)
	for i, r := range f.data {
		if !r.Hand {
			continue
		}
		if z := f.left(i, f.hands[hand].w[i], mean, cov); math.Abs(z) > suspect {
			all = append(all, odd{i, math.Abs(z)})
		}
	}
	slices.SortStableFunc(all, func(a, b odd) int { return compare(b.z, a.z) })
	var out []int
	for _, o := range all[:min(len(all), mostSuspects)] {
		out = append(out, o.i)
	}
	return out
}

// left is reading i less what all others foretell of it, in standard deviations: the
// leave-one-out residual e / (1 - h) over its own sqrt(v / (1 - h)).
func (f *fitter) left(i int, w float64, mean, cov []float64) float64 {
	e, h := f.data[i].Y, 0.0
	for a, x := range f.rows[i] {
		e -= x * mean[a]
		for b, y := range f.rows[i] {
			h += x * cov[a*f.k+b] * y
		}
	}
	return e * math.Sqrt(w/math.Max(1-h*w, 1e-6))
}

// moments are mean and covariance of a part.
func (f *fitter) moments(t Part) (mean, cov []float64) {
	sd := f.sds(t)
	f.load(t, sd)
	mean, cov = make([]float64, f.k), make([]float64, f.k*f.k)
	if !f.s.factor() {
		return mean, cov
	}
	x, inverse := f.s.solve()
	for i := range f.k {
		mean[i] = x[i] * sd[i]
		for j := i; j < f.k; j++ {
			v := inverse.Data[i*f.k+j] * sd[i] * sd[j]
			cov[i*f.k+j], cov[j*f.k+i] = v, v
		}
	}
	return mean, cov
}

// mix is the mixture of all that is worth keeping.
func (f *fitter) mix(all []trial) *Posterior {
	p := &Posterior{Machine: f.m, n: f.k, last: -1, data: f.data, hands: f.p.Hands}
	weights := shares(all, func(t trial) float64 { return t.log + f.p.Lean*t.held }, f.p.Drop)
	doubts := shares(all, func(t trial) float64 { return t.held + f.p.Trust*(t.log-t.held) }, f.p.Drop)
	for i, t := range all {
		if t.Weight, t.Doubt = weights[i], doubts[i]; t.Weight+t.Doubt > 0 {
			p.Parts = append(p.Parts, t.Part)
		}
	}
	k := f.k
	mean, second := make([]float64, k), make([]float64, k*k)
	other := make([]float64, k) // the mean under the weights of the doubt
	for _, t := range p.Parts {
		m, c := f.moments(t)
		for i := range m {
			mean[i] += t.Weight * m[i]
			other[i] += t.Doubt * m[i]
			for j := range m {
				second[i*k+j] += t.Doubt * (c[i*k+j] + m[i]*m[j])
			}
		}
	}
	for i := range mean {
		for j := range mean {
			second[i*k+j] += mean[i]*mean[j] - other[i]*mean[j] - mean[i]*other[j]
		}
	}
	p.spread(f, mean, second)
	return p
}

// shares returns weights that sum to 1 from their logarithms; 0 for the lightest, which
// come to drop together.
func shares(all []trial, log func(trial) float64, drop float64) []float64 {
	w, order := make([]float64, len(all)), make([]int, len(all))
	best, sum := math.Inf(-1), 0.0
	for _, t := range all {
		best = math.Max(best, log(t))
	}
	for i, t := range all {
		order[i], w[i] = i, math.Exp(log(t)-best)
		sum += w[i]
	}
	slices.SortStableFunc(order, func(a, b int) int { return compare(w[b], w[a]) })
	kept := 0.0
	for k, i := range order {
		if kept >= (1-drop)*sum {
			for _, i := range order[k:] {
				w[i] = 0
			}
			break
		}
		kept += w[i]
	}
	for i := range w {
		w[i] /= kept
	}
	return w
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// spread puts the moments of the seen unknowns where all of them stand.
func (p *Posterior) spread(f *fitter, mean, cov []float64) {
	n := len(f.seen)
	at := make([]int, f.k)
	for j := range at {
		at[j] = firstBed + j - n
		if j < n {
			at[j] = f.seen[j]
		}
	}
	p.n = firstBed + f.k - n
	if len(f.p.Drifts) > 0 {
		p.last = p.n - 1
	}
	p.mean, p.cov = make([]float64, p.n), make([]float64, p.n*p.n)
	for i := range firstBed { // what nothing was read of is as it was held before
		for _, t := range p.Parts {
			sd := math.Max(f.p.Members[t.Member].SD[i], f.p.Unread[i])
			p.cov[i*p.n+i] += t.Weight * sd * sd
		}
	}
	for a, i := range at {
		p.mean[i] = mean[a]
		for b, j := range at {
			p.cov[i*p.n+j] = cov[a*f.k+b]
		}
	}
}
