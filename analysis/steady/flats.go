package steady

import (
	"math"
	"slices"

	"abbed/probe/record"
)

// flats are the odds of flats of a wheel in rows against a bed and stray touches: dips of
// one depth and width at one period, whose phase stays in all rows (q = 0) or walks by q mm
// from one to the next (a hidden Markov chain: Rabiner, Proc. IEEE 77, 1989; from memory).
// The scatter has the long tails of Student's t with four degrees of freedom, since ridges
// of a bed and stray touches are in it.
type flats struct {
	rows []ridden
	// moves and stays are logarithms of odds against no flats, low those of dips anywhere
	// against touches that lie off on either side.
	moves, stays, low float64
	length, lengthSD  float64 // of the period, mm
	depth             float64 // of the best, mm
}

var (
	flatDepths = []float64{1.5, 3, 6, 12} // in units of what may wander
	flatWidths = []float64{1.7, 3}        // standard deviation, mm
	flatWalks  = []float64{1, 4, math.Inf(1)}
)

const (
	// tails is the degrees of freedom of the scatter.
	tails = 4.0
	// steps is into how many thirds of its width a dip is divided, as far as it reaches.
	steps = 8
	// unlikely stands for odds that are not worth working out.
	unlikely = -20.0
)

// gains are the logarithms of the odds that a touch is that far down in a dip.
type gains [][steps]float64 // depth, step

// gains also returns the mean odds of a dip of each depth, anyhow far down.
func (r ridden) gains(j int, wander float64) (out gains, anywhere []float64) {
	out, anywhere = make(gains, len(flatDepths)), make([]float64, len(flatDepths))
	for d, depth := range flatDepths {
		for l := range steps {
			ratio := r.ratio(j, depth*wander*dip[l])
			anywhere[d] += ratio * ratio * math.Sqrt(ratio) / steps
			out[d][l] = (tails + 1) / 2 * math.Log(ratio)
		}
	}
	return out, anywhere
}

// ratio is by how much less unlikely a touch is in a dip, to the power of 2 / (tails + 1).
func (r ridden) ratio(j int, down float64) float64 {
	s2, off := tails*r.sd[j]*r.sd[j], r.e[j]+down
	return (s2 + r.e[j]*r.e[j]) / (s2 + off*off)
}

// dip is the depth of a dip at each step from its middle.
var dip = func() (out [steps]float64) {
	for l := range out {
		out[l] = math.Exp(-float64(l*l) / 18)
	}
	return out
}()

// weigh sets the odds.
func (f *flats) weigh(c record.Criteria) {
	all := make([][]gains, len(f.rows))
	low, both := make([]float64, len(flatDepths)), make([]float64, len(flatDepths))
	for i, r := range f.rows {
		for j := range r.x {
			g, down := r.gains(j, c.Wander)
			all[i] = append(all[i], g)
			for d, depth := range flatDepths {
				up := 0.0
				for l := range steps {
					ratio := r.ratio(j, -depth*c.Wander*dip[l])
					up += ratio * ratio * math.Sqrt(ratio) / steps
				}
				low[d] += math.Log1p(inDip * (down[d] - 1))
				both[d] += math.Log1p(inDip * ((down[d]+up)/2 - 1))
			}
		}
	}
	for d := range low { // depth by depth: what strays by a quarter of a millimetre says nothing of a shallow flat
		low[d] -= math.Max(both[d], 0)
	}
	f.low = logMean(low)
	var moves, stays []float64
	best, sum, first, second := math.Inf(-1), 0.0, 0.0, 0.0
	for d := range flatDepths {
		for _, width := range flatWidths {
			laid := f.laid(all, d, width)
			for length := int(math.Ceil(c.WheelLeast)); length <= int(c.WheelMost); length++ {
				score := folded(laid, length)
				stays = append(stays, walked(score, 0))
				for _, q := range flatWalks {
					odds := walked(score, q)
					moves = append(moves, odds)
					if odds > best {
						best, f.depth = odds, flatDepths[d]*c.Wander
					}
					w, l := math.Exp(math.Min(odds, 500)), float64(length)
					sum, first, second = sum+w, first+w*l, second+w*l*l
				}
			}
		}
	}
	f.moves, f.stays = logMean(moves), logMean(stays)
	f.length = first / sum
	f.lengthSD = math.Sqrt(math.Max(second/sum-f.length*f.length, 0) + 1.0/12)
}

// inDip is the share of touches that stand in a dip where there are any.
const inDip = 0.1

// laidOut is logarithms of odds along a row, from whole mm on.
type laidOut struct {
	from int
	of   []float64
}

// laid are those of a dip at each place of each row.
func (f *flats) laid(all [][]gains, depth int, width float64) []laidOut {
	out := make([]laidOut, len(f.rows))
	far := int(width * (steps - 1) / 3)
	for i, r := range f.rows {
		from := int(math.Floor(r.x[0])) - far - 1
		of := make([]float64, int(r.x[len(r.x)-1])-from+far+3)
		for j, x := range r.x {
			at := int(math.Round(x))
			for k := at - far; k <= at+far; k++ {
				if l := int(3*math.Abs(float64(k)-x)/width + 0.5); l < steps {
					of[k-from] += all[i][j][depth][l]
				}
			}
		}
		out[i] = laidOut{from, of}
	}
	return out
}

// folded are those of a dip at each phase of a period.
func folded(laid []laidOut, length int) [][]float64 {
	out := make([][]float64, len(laid))
	for i, s := range laid {
		out[i] = make([]float64, length)
		at := (s.from%length + length) % length
		for _, v := range s.of {
			out[i][at] += v
			if at++; at == length {
				at = 0
			}
		}
	}
	return out
}

// walked is the logarithm of the odds of all rows with a phase that walks by q mm from one
// to the next.
func walked(score [][]float64, q float64) float64 {
	n, most := len(score[0]), 0.0
	for _, s := range score {
		most += slices.Max(s)
	}
	if least := 4.0; most < least || q > 1 && most < least+float64(len(score)) {
		return unlikely
	}
	total, state := 0.0, slices.Repeat([]float64{1 / float64(n)}, n)
	for _, s := range score {
		state = blurred(state, q)
		top, sum := slices.Max(s), 0.0
		for k := range state {
			state[k] *= math.Exp(s[k] - top)
			sum += state[k]
		}
		if !(sum > 0) {
			return unlikely
		}
		for k := range state {
			state[k] /= sum
		}
		total += top + math.Log(sum)
	}
	return math.Max(total, unlikely)
}

// blurred spreads a distribution on a circle by a normal law of q.
func blurred(state []float64, q float64) []float64 {
	n := len(state)
	if q == 0 {
		return state
	}
	if math.IsInf(q, 1) {
		return slices.Repeat([]float64{1 / float64(n)}, n)
	}
	far := int(3 * q)
	kernel, sum, out := make([]float64, 2*far+1), 0.0, make([]float64, n)
	for k := range kernel {
		kernel[k] = math.Exp(-float64((k-far)*(k-far)) / (2 * q * q))
		sum += kernel[k]
	}
	for k, v := range state {
		for i, w := range kernel {
			out[(k+i-far+n)%n] += v * w / sum
		}
	}
	return out
}

func logMean(x []float64) float64 {
	if len(x) == 0 {
		return unlikely
	}
	top, sum := slices.Max(x), 0.0
	for _, v := range x {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum/float64(len(x)))
}
