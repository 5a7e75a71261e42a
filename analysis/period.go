package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// Period is a period along X that stands out of chance.
type Period struct {
	// Length of the period, mm, with its doubt.
	Length Measured `json:"length"`
	// Amplitude is the root mean square over the rows of the sine's amplitude, mm.
	Amplitude float64 `json:"amplitude"`
	// FalseAlarm is the probability that chance alone gives as high a peak
	// anywhere in the range that was looked at.
	FalseAlarm float64 `json:"false_alarm"`
	// Rows is how many rows and passes tell it.
	Rows int `json:"rows"`
	// Name is what turns with such a period: "wheel", "belt", "screw", or "" for
	// none of them.
	Name string `json:"name"`
	// Held is how well the passes over one row agree about its phase: 1 all the
	// same (a ripple of beam or bed), towards 0 each its own (a wheel that slips);
	// nil with fewer than two passes.
	Held *float64 `json:"held"`
}

// What turns with a period.
const (
	wheel = "wheel"
	belt  = "belt"
	screw = "screw"
)

// alarm is the false alarm that a period may have.
const alarm = 0.001

// longestPeriod and shortestPeriod bound the search, mm: beyond the longest a
// bend of the bed looks like a period; the shortest is twice the pitch of a
// dense row.
const (
	longestPeriod  = 140
	shortestPeriod = 6
)

// findPeriod looks for one period in all rows, each with its own mean,
// amplitude and phase: the floating-mean periodogram of Lomb and Scargle (Zechmeister,
// Kuerster 2009; from memory) summed over the rows. With z the share of the sum
// of squares that the sines explain, q parameters and n-m-q degrees of freedom,
// F = z/(1-z) (n-m-q)/q gives the chance of one period, and the number of
// periods that the rows can tell apart that of the highest. nil where the
// highest peak is at an end of the search, or no better than chance.
func findPeriod(rows []line, c record.Criteria) *Period {
	p := periodogram{}
	for _, l := range rows {
		if len(l.x) >= 8 {
			p.rows = append(p.rows, l)
			p.long = math.Max(p.long, l.x[len(l.x)-1]-l.x[0])
		}
	}
	if len(p.rows) == 0 || p.long < c.WheelLeast {
		return nil
	}
	lo, hi := math.Max(shortestPeriod, 2.2*p.pitch()), math.Min(longestPeriod, p.long)
	if hi <= lo {
		return nil
	}
	step := 0.25 / p.long // a quarter of what the longest row resolves
	best, length := p.peak(1/hi, 1/lo, step)
	if best > 0 {
		// Narrow dips give overtones as high as their own period.
		for k := 2.0; k <= 3; k++ {
			if l := k * length; l >= c.WheelLeast && l <= c.WheelMost && l <= hi {
				if z, at := p.peak(1/l-step, 1/l+step, step/10); z > best/2 {
					best, length = z, at
					break
				}
			}
		}
		best, length = p.peak(1/length-step, 1/length+step, step/10)
	}
	n, m, q := p.count()
	dof := n - m - q
	if dof < 3 || !(best > 0) || best >= 1 || 1/length < 1/hi+step/2 {
		return nil
	}
	single := fit.FTail(best/(1-best)*dof/q, q, dof)
	peaks := math.Max((1/lo-1/hi)*p.long, 1) * 2
	chance := -math.Expm1(peaks * math.Log1p(-math.Min(single, 1-1e-16)))
	if chance > alarm {
		return nil
	}
	_, amplitude := p.power(length)
	out := &Period{Length: p.doubt(length, best, dof), Amplitude: amplitude, FalseAlarm: chance, Rows: len(p.rows)}
	out.Name = nameOf(out.Length, c)
	return out
}

// peak returns the highest power between two frequencies, and its period.
func (p periodogram) peak(from, to, step float64) (best, length float64) {
	for f := from; f <= to; f += step {
		if z, _ := p.power(1 / f); z > best {
			best, length = z, 1/f
		}
	}
	return best, length
}

// nameOf says what turns with such a period. A pulley's turn, a screw's lead
// and a wheel's circumference may lie within the doubt of each other: then the
// one that lies nearer to the value.
func nameOf(l Measured, c record.Criteria) string {
	switch near := func(v float64) bool { return math.Abs(l.Value-v) < math.Max(0.06*v, math.Min(l.U95(), 0.15*v)) }; {
	case l.Value >= c.WheelLeast-l.U95()/2 && l.Value <= c.WheelMost+l.U95()/2:
		return wheel
	case near(c.BeltTurn):
		return belt
	case near(c.ScrewLead):
		return screw
	}
	return ""
}

// says puts the period in words.
func (p Period) says() string {
	s := fmt.Sprintf("a period of %.0f ±%.0f mm (false alarm %.1g)", p.Length.Value, p.Length.U95(), p.FalseAlarm)
	switch p.Name {
	case wheel:
		s += ", as a wheel of " + fmt.Sprintf("%.0f mm", p.Length.Value/math.Pi) + " on its rolling circle would make it"
	case belt:
		s += ", as a turn of the belt's pulley would make it"
	case screw:
		s += ", as a turn of a screw would make it"
	}
	return s
}

// periodogram is of several rows with one period and phases of their own.
type periodogram struct {
	rows []line
	long float64
}

// power returns the share of the sum of squares about the rows' means that
// sines of the period explain, and the root mean square amplitude, mm.
func (p periodogram) power(period float64) (z, amplitude float64) {
	all, left, a2 := 0.0, 0.0, 0.0
	var w wave
	for _, l := range p.rows {
		w.set(l.x, period)
		ss, rss, a := w.explain(l.e)
		all, left, a2 = all+ss, left+rss, a2+a*a
	}
	if !(all > 0) {
		return 0, 0
	}
	return math.Max(1-left/all, 0), math.Sqrt(a2 / float64(len(p.rows)))
}

// wave is a sine and cosine of a period at the places x, about their means, with
// their sums of squares and of products. Rows of one survey share it.
type wave struct {
	x, s, c    []float64
	ss, cc, sc float64
}

func (w *wave) set(x []float64, period float64) {
	if slices.Equal(w.x, x) {
		return
	}
	n := len(x)
	w.x = x
	w.s, w.c = slices.Grow(w.s[:0], n)[:n], slices.Grow(w.c[:0], n)[:n]
	var ms, mc float64
	for i, v := range x {
		w.s[i], w.c[i] = math.Sincos(2 * math.Pi * (v - x[0]) / period)
		ms, mc = ms+w.s[i]/float64(n), mc+w.c[i]/float64(n)
	}
	w.ss, w.cc, w.sc = 0, 0, 0
	for i := range x {
		a, b := w.s[i]-ms, w.c[i]-mc
		w.s[i], w.c[i] = a, b
		w.ss, w.cc, w.sc = w.ss+a*a, w.cc+b*b, w.sc+a*b
	}
}

// explain fits mean, sine and cosine by the normal equations about the means:
// ample for two columns that a row of more than half a period keeps apart.
func (w *wave) explain(y []float64) (ss, rss, amplitude float64) {
	m := mean(y)
	var se, ce float64
	for i, v := range y {
		e := v - m
		se, ce, ss = se+w.s[i]*e, ce+w.c[i]*e, ss+e*e
	}
	a, b := w.solve(se, ce)
	return ss, math.Max(ss-a*se-b*ce, 0), math.Hypot(a, b)
}

// coefficients are those of the sine and the cosine.
func (w *wave) coefficients(y []float64) (a, b float64) {
	m := mean(y)
	var se, ce float64
	for i, v := range y {
		se, ce = se+w.s[i]*(v-m), ce+w.c[i]*(v-m)
	}
	return w.solve(se, ce)
}

// solve returns 0, 0 where sine and cosine are not told apart.
func (w *wave) solve(se, ce float64) (a, b float64) {
	det := w.ss*w.cc - w.sc*w.sc
	if det < 1e-6*w.ss*w.cc || !(det > 0) {
		return 0, 0
	}
	return (se*w.cc - ce*w.sc) / det, (ce*w.ss - se*w.sc) / det
}

func (p periodogram) pitch() float64 {
	widest := 0.0 // in a coarser row a shorter period would be the image of a bend
	for _, l := range p.rows {
		widest = math.Max(widest, (l.x[len(l.x)-1]-l.x[0])/float64(len(l.x)-1))
	}
	return widest
}

// count returns values, means and parameters.
func (p periodogram) count() (n, m, q float64) {
	for _, l := range p.rows {
		n += float64(len(l.x))
	}
	m = float64(len(p.rows))
	return n, m, 2 * m
}

// doubt returns the period with the interval in which the sum of squares rises
// by less than 3.84 variances (likelihood ratio; from memory), made symmetric.
func (p periodogram) doubt(length, best, dof float64) Measured {
	within := func(l float64) bool {
		z, _ := p.power(l)
		return (best-z)/((1-best)/dof) < 3.84
	}
	wide := 0.0
	for _, dir := range []float64{-1, 1} {
		d := 0.0
		for d < length/2 && within(length+dir*d) {
			d += length / 400
		}
		wide = math.Max(wide, d)
	}
	return measured(length, wide/z95, math.Inf(1), "mm")
}

// hold sets how well the passes, each freed of its bends, agree about the phase:
// the length of the sum of their sines as vectors, against the sum of their
// lengths (the mean resultant length of directional statistics, weighed by
// amplitude; Mardia, Jupp, Directional Statistics, 2000; from memory).
func (p *Period) hold(ps passes) {
	if p == nil || len(ps.z) < 2 || len(ps.x) < 20 {
		return
	}
	var re, im, long float64
	for _, z := range ps.z {
		l := unbent(line{ps.x, slices.Clone(z)})
		var w wave
		w.set(l.x, p.Length.Value)
		a, b := w.coefficients(l.e)
		re, im, long = re+a, im+b, long+math.Hypot(a, b)
	}
	if long > 0 {
		held := math.Hypot(re, im) / long
		p.Held = &held
	}
}

// phase puts Held in words.
func (p Period) phase() string {
	switch {
	case p.Held == nil:
		return "whether its phase stays, the passes do not tell"
	case *p.Held > 0.9:
		return fmt.Sprintf("its phase is the same in every pass (agreement %.2f), as a ripple of beam or bed has it", *p.Held)
	case *p.Held < 0.6:
		return fmt.Sprintf("its phase does not stay from pass to pass (agreement %.2f)", *p.Held)
	}
	return fmt.Sprintf("its phase hardly stays from pass to pass (agreement %.2f)", *p.Held)
}
