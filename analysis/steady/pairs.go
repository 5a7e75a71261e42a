package steady

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// Paired is one gauging with the probe touches of the same place just before
// and after it.
type Paired struct {
	N     int64        `json:"n"`
	T     float64      `json:"t"`
	Spot  int          `json:"spot"`
	Visit int          `json:"visit"`
	Place record.Place `json:"place"`
	// Touched is the probe's height at the gauging's time, mm, Contact the
	// nozzle's own: Z - blade, and half of the last lowering higher, since the
	// gauge began to drag somewhere on that way; but no more than half of dragBand.
	Touched float64 `json:"touched"`
	Contact float64 `json:"contact"`
	// G is Touched - Contact, mm: the raw gap error, level and all.
	G float64 `json:"g"`
	// U is the standard uncertainty of Touched from the scatter of the touches
	// and the report step, mm, so that the mean of all readings of one visit, which
	// share them, has what they have. The gauging's own scatter is not in it.
	U float64 `json:"u"`
	// StepU is the standard uncertainty of Contact from the last lowering, mm,
	// beyond what a fine step has (which counts in the expected scatter).
	StepU float64 `json:"step_u,omitempty"`
	// Touches is how many touches tell Touched; 0: none, and G is of no use.
	Touches int `json:"touches"`
}

// Pairs returns each gauging with its paired touches: the mean of those before
// and the mean of those after, interpolated in time to the gauging. Gaugings
// without a touch have Touches 0.
func Pairs(run record.Run) []Paired {
	var p Pairing
	return p.Of(run)
}

// Pairing pairs the gaugings of one run again and again while it grows, and looks
// at the repeat test only when that grew. The zero value is ready.
type Pairing struct {
	repeats int
	steady  *Steadiness
}

// Of returns what Pairs does.
func (p *Pairing) Of(run record.Run) []Paired {
	run = Clean(run)
	if n := len(repeats(run)); p.steady == nil || n != p.repeats {
		p.repeats, p.steady = n, &Steadiness{} // no gate is asked
		p.steady.repeatTest(run)
	}
	ps, _ := PairsOf(run, *p.steady)
	return ps
}

// PairsOf also lists the touches that were set aside.
func PairsOf(run record.Run, s Steadiness) ([]Paired, []Odd) {
	touches := InTime(run.Of(record.SeriesPair))
	for i := range touches {
		touches[i].Z = s.Level(touches[i])
	}
	var odd []Odd
	groups := make([]group, 0, len(run.Gaugings))
	for _, g := range run.Gaugings {
		gr := gather(g, touches)
		odd = append(odd, gr.setAside(s.Sigma)...)
		groups = append(groups, gr)
	}
	if firstReadsOff(groups, s.Sigma) {
		for i := range groups {
			groups[i].before, groups[i].after = later(groups[i].before), later(groups[i].after)
		}
	}
	var out []Paired
	visits := map[[2]int]float64{}
	for _, gr := range groups {
		out = append(out, gr.paired(s))
		visits[[2]int{gr.Spot, gr.Visit}]++
	}
	for i := range out {
		if n := visits[[2]int{out[i].Spot, out[i].Visit}]; out[i].Spot >= 0 {
			out[i].U *= math.Sqrt(n) // together they know no more of the touches than one
		}
	}
	return out, odd
}

// group is a gauging with its touches.
type group struct {
	record.Gauging
	before, after []record.Touch
}

// gather finds the touches of g's own visit on both sides in time, at its
// place (within 1 mm).
func gather(g record.Gauging, touches []record.Touch) group {
	gr := group{Gauging: g}
	for _, t := range touches {
		if t.Place.Distance(g.Place) > 1 || t.Spot >= 0 && g.Spot >= 0 && t.Spot != g.Spot {
			continue
		}
		if t.T <= g.T && t.Pass == g.Visit {
			gr.before = append(gr.before, t)
		}
		if t.T > g.T && t.Pass == g.Visit+1 {
			gr.after = append(gr.after, t)
		}
	}
	return gr
}

// setAside takes out touches that lie beyond six standard deviations, and
// beyond 0.05 mm, of the median of three or more: probe outliers, not drift.
func (g *group) setAside(sigma float64) []Odd {
	all := append(append([]record.Touch(nil), g.before...), g.after...)
	if len(all) < 3 {
		return nil
	}
	m, limit := fit.Median(Heights(all)), math.Max(6*sigma, 0.05)
	good := func(t record.Touch) bool { return math.Abs(t.Z-m) <= limit }
	var odd []Odd
	for _, t := range all {
		if !good(t) {
			odd = append(odd, Odd{N: t.N, Place: t.Place, Off: t.Z - m,
				Text: "this touch at a gauging lies " + say.Fine(t.Z-m) + " from the others there; it was set aside"})
		}
	}
	if 2*len(odd) >= len(all) {
		return nil // no majority says which are right
	}
	g.before, g.after = result.Keep(g.before, good), result.Keep(g.after, good)
	return odd
}

// firstReadsOff says whether the first touches of the groups differ from the
// later ones by more than chance (t > 3) and more than half of a scatter: a
// probe that wants a touch to wake up.
func firstReadsOff(groups []group, sigma float64) bool {
	var d []float64
	for _, g := range groups {
		for _, ts := range [][]record.Touch{g.before, g.after} {
			if len(ts) >= 2 {
				d = append(d, ts[0].Z-mean(Heights(ts[1:])))
			}
		}
	}
	if len(d) < 4 {
		return false
	}
	m, sd := fit.MeanSD(d)
	return math.Abs(m) > 3*math.Max(sd, sigma)/math.Sqrt(float64(len(d))) && math.Abs(m) > sigma/2
}

func later(ts []record.Touch) []record.Touch {
	if len(ts) < 2 {
		return ts
	}
	return ts[1:]
}

func (g group) paired(s Steadiness) Paired {
	p := Paired{N: g.N, T: g.T, Spot: g.Spot, Visit: g.Visit, Place: g.Place,
		Contact: g.Z - g.Blade + math.Min(g.Step, dragBand)/2, StepU: stepU(math.Min(g.Step, longestDrag)), Touches: len(g.before) + len(g.after)}
	zb, tb := meanTouch(g.before)
	za, ta := meanTouch(g.after)
	nb, na := float64(len(g.before)), float64(len(g.after))
	share := 0.0 // of the touches after
	switch {
	case nb > 0 && na > 0 && ta > tb:
		share = (g.T - tb) / (ta - tb)
	case na > 0:
		share = na / (na + nb)
	}
	p.Touched = zb + share*(za-zb)
	v := 0.0
	if nb > 0 {
		v += (1 - share) * (1 - share) / nb
	}
	if na > 0 {
		v += share * share / na
	}
	p.U = s.Sigma * math.Sqrt(v)
	if s.Scatter != nil && s.Scatter.Value < s.Step/2 {
		// Touches that fall on the same step do not average it out.
		p.U = math.Hypot(s.Scatter.Value*math.Sqrt(v), s.StepU)
	}
	p.G = p.Touched - p.Contact
	return p
}

// fineStep is the last lowering of a careful approach, mm (the rules of gauging
// allow no more near the contact that is expected); what it leaves counts in the
// scatter of a gauging.
const fineStep = 0.02

// dragBand is over how much of the way down a gauge drags before it is tight, mm, at most
// (common practice, no source): it began to drag no higher above the reading than that.
const dragBand = 0.03

// longestDrag is the same for paper, which drags longest: what a long last lowering leaves
// open at most.
const longestDrag = 0.05

// stepU is the standard uncertainty of a contact that lies anywhere in the last
// lowering: a rectangle, step/sqrt(12) (JCGM 100:2008, 4.3.7).
func stepU(step float64) float64 {
	return math.Sqrt(math.Max(step*step-fineStep*fineStep, 0) / 12)
}

func meanTouch(ts []record.Touch) (z, t float64) {
	for _, x := range ts {
		z += x.Z
		t += x.T
	}
	n := float64(max(len(ts), 1))
	return z / n, t / n
}
