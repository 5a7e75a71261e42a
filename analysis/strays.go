package analysis

import (
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// A stray touch is off by itself: the touches beside it, a few mm away, do not
// follow, while a flat on a wheel or a mark of the bed takes one of them along.
// It says nothing of how the carriage rides, so it is put where its own row
// foretells it before passes are compared, and listed.

// calmed returns the passes with their stray touches put where their own pass
// foretells them, and lists those touches; sigma is the scatter of one touch,
// mm. Stray is what stands out beyond six sigma and limit of every foretelling
// by the touches two and more places away, on either side, and of the line
// around it.
func (ps passes) calmed(sigma, limit float64) (passes, []Odd) {
	out := passes{x: ps.x, t: ps.t, touch: ps.touch}
	var odd []Odd
	for p, row := range ps.z {
		z := append([]float64(nil), row...)
		for j := range row {
			all := foretold(row, j)
			if len(all) > 0 && math.Abs(least(row[j], all)) <= math.Max(6*sigma, limit) {
				continue // what is around it could only bring it nearer
			}
			e := least(row[j], append(all, around(row, j)))
			if math.Abs(e) <= math.Max(6*sigma, limit) || taken(row, j, e, 2.5*sigma) {
				continue
			}
			z[j] -= e
			odd = append(odd, strayed(ps.touch[p][j], e))
		}
		out.z = append(out.z, z)
	}
	return out, odd
}

// around is what the line through up to six touches on either side of touch k
// says of it: the median of slopes and levels, which strays do not move (Theil,
// Sen).
func around(x []float64, k int) float64 {
	const reach = 6
	lo, hi := max(0, k-reach), min(len(x)-1, k+reach)
	var slopes, levels []float64
	for i := lo; i <= hi; i++ {
		for j := i + 1; j <= hi && i != k; j++ {
			if j != k {
				slopes = append(slopes, (x[j]-x[i])/float64(j-i))
			}
		}
	}
	slope := fit.Median(slopes)
	for i := lo; i <= hi; i++ {
		if i != k {
			levels = append(levels, x[i]-slope*float64(i-k))
		}
	}
	return fit.Median(levels)
}

// calmPasses are the run's passes, calmed.
func (s *steadiness) calmPasses(run record.Run) passes {
	ps := rowPasses(run, *s)
	calm, _ := ps.calmed(math.Max(ps.quick(), s.StepU), run.Setup.Criteria.Wander)
	return calm
}

// taken says whether a neighbour of touch j stands out with it: beyond limit and
// an eighth of e, which is what a dip 1.5 mm wide (standard deviation) leaves
// 3 mm away, from the line through the touches beside the three.
func taken(row []float64, j int, e, limit float64) bool {
	if j < 2 || j+2 >= len(row) {
		return false
	}
	a, b := row[j-2], row[j+2]
	for _, d := range []float64{row[j-1] - (3*a+b)/4, row[j+1] - (a+3*b)/4} {
		if d*e > 0 && math.Abs(d) > math.Max(limit, math.Abs(e)/8) {
			return true
		}
	}
	return false
}

func strayed(t record.Touch, off float64) Odd {
	return Odd{N: t.N, Place: t.Place, Off: off,
		Text: "this touch of the passes lies " + um(off) + " from its neighbours, which do not follow; it was set aside"}
}

// farOff is from how many times what may wander a touch that stands alone is
// taken for a stray one, not for a flat: a flat as deep as that is wide, and
// most touches that it reaches are off by less.
const farOff = 5

// sides counts touches that stand alone, by the side on which they lie.
type sides struct{ low, high, far int }

// count counts one that lies e off, among the strays if beyond far.
func (s *sides) count(e, far float64) bool {
	switch {
	case math.Abs(e) > far:
		s.far++
		return false
	case e < 0:
		s.low++
	default:
		s.high++
	}
	return true
}

func (s sides) n() int     { return s.low + s.high }
func (s sides) most() int  { return max(s.low, s.high) }
func (s sides) least() int { return min(s.low, s.high) }

func (s sides) and(o sides) sides {
	return sides{low: s.low + o.low, high: s.high + o.high, far: s.far + o.far}
}

// fewOff is the least number of touches off their neighbours that tells
// anything, leanP the probability from which their sides are no chance.
const (
	fewOff = 5
	leanP  = 0.07
)

// leaning says whether there are enough and nearly all lie on one side: a flat
// lets the carriage down, a stray touch lies anywhere (sign test, two-sided:
// five of five, seven of eight, nine of eleven).
func (s sides) leaning() bool { return s.n() >= fewOff && s.chance() <= leanP }

// chance is the probability that so many or more of the touches lie on one side,
// were each as likely on either.
func (s sides) chance() float64 {
	p, n := 0.0, s.n()
	c := math.Pow(0.5, float64(n))
	for k := n; k >= s.most(); k-- {
		p += c
		c *= float64(k) / float64(n-k+1)
	}
	return math.Min(2*p, 1)
}
