package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Comparison is what became of a machine between two runs.
type Comparison struct {
	// Before and After are the identifiers of the runs.
	Before string `json:"before"`
	After  string `json:"after"`
	// Changes are the quantities that both runs tell, and Not what cannot be
	// compared, each with the reason.
	Changes []Change `json:"changes"`
	Not     []string `json:"not"`
	// Most is the place that both runs gauged around and that changed most beyond the doubt
	// of all places together (Scheffe: of many one leaves its own interval by chance),
	// against one place of both; nil if none did. Seen says that they were compared.
	Most *PlaceChange `json:"most"`
	Seen bool         `json:"-"`
	// Largest is the gap error that is largest, in size with its doubt, before and
	// after, on those places; Left what the correction then in force leaves of it,
	// nil without one.
	LargestBefore *analysis.PlaceGap `json:"largest_before"`
	LargestAfter  *analysis.PlaceGap `json:"largest_after"`
	LeftBefore    *analysis.PlaceGap `json:"left_before"`
	LeftAfter     *analysis.PlaceGap `json:"left_after"`
	// Gone, Stay and Come are the findings by their identifiers.
	Gone []string `json:"gone"`
	Stay []string `json:"stay"`
	Come []string `json:"come"`
	// Heat compares the temperatures; nil if either run does not know its own.
	Heat *steady.HeatChange `json:"heat"`
	// Sentence says what matters first.
	Sentence string `json:"sentence"`
}

// PlaceChange is the gap error at a place in two runs, mm, and the change with its
// 95 % half width for this place alone.
type PlaceChange struct {
	record.Place
	Before    float64 `json:"before" about:"nozzle error, mm"`
	U95Before float64 `json:"u95_before"`
	After     float64 `json:"after"`
	U95After  float64 `json:"u95_after"`
	By        float64 `json:"by" about:"after less before, mm"`
	U95       float64 `json:"u95" about:"95 % half width of by, for this place alone"`
}

// Compare returns what changed between two runs, or the reason why they cannot be
// compared at all: two printers. What one of them does not tell is listed in Not.
//
// The twist is compared over the width that both gauged, the gap error on a
// lattice of 5 x 5 places there. Another lever along the same axis leaves the
// twist comparable (it is an angle of the beam) and the gap error not.
func Compare(before, after analysis.Judged) (Comparison, *record.Problem) {
	before.Run, after.Run = steady.Clean(before.Run), steady.Clean(after.Run)
	a, b := before.Run.Setup, after.Run.Setup
	c := Comparison{Before: before.Run.ID, After: after.Run.ID, Changes: []Change{}, Not: []string{}, Gone: []string{}, Stay: []string{}, Come: []string{}}
	switch {
	case a.Printer.ID == "" || b.Printer.ID == "":
		c.not("Whether both runs are of one printer is not known: a file does not say.")
	case a.Printer.ID != b.Printer.ID:
		return c, &record.Problem{Code: "not-comparable", Text: "the runs are of two printers: nothing that differs between them is a change", Hint: "compare runs of one printer"}
	}
	if c.Heat = steady.Heat(before.Run, after.Run); c.Heat == nil {
		c.not("The temperatures cannot be compared: a run does not know its own.")
	}
	c.gaps(before, after)
	c.steadiness(before, after)
	c.findings(before.Verdict, after.Verdict)
	c.Sentence = c.says(b.Criteria.Tolerance)
	return c, nil
}

func (c *Comparison) not(why string, args ...any) { c.Not = append(c.Not, fmt.Sprintf(why, args...)) }

func (c *Comparison) add(x *Change) bool {
	if x != nil {
		c.Changes = append(c.Changes, *x)
	}
	return x != nil
}

// common is the area that both gauged: along an axis on which both gauged more
// than one line the part that both reach, else with the margin.
func common(a, b *analysis.Gap) (record.Rect, bool) {
	if a == nil || b == nil {
		return record.Rect{}, false
	}
	r := a.Area.Meet(b.Area)
	wide := a.Area.Grown(a.Margin).Meet(b.Area.Grown(b.Margin))
	if a.Area.W() < steady.Apart || b.Area.W() < steady.Apart {
		r.X0, r.X1 = wide.X0, wide.X1
	}
	if a.Area.H() < steady.Apart || b.Area.H() < steady.Apart {
		m := (wide.Y0 + wide.Y1) / 2 // a row is a row
		r.Y0, r.Y1 = m, m
		if wide.Y1 < wide.Y0 {
			return r, false
		}
	}
	return r, r.X1-r.X0 >= 0 && r.Y1-r.Y0 >= 0
}

// gaps compares twist or pitch, and the gap error at common places.
func (c *Comparison) gaps(before, after analysis.Judged) {
	ga, gb := before.Verdict.Gap, after.Verdict.Gap
	a, b := before.Run.Setup, after.Run.Setup
	r, ok := common(ga, gb)
	if !ok || r.W() < steady.Apart {
		c.not("The twist cannot be compared: %s.", whyNoGap(before, after))
	} else {
		c.angle(ga, gb, r, a, b)
	}
	if !ok {
		c.not("The nozzle error cannot be compared: %s.", whyNoGap(before, after))
		return
	}
	if math.Hypot(a.Lever.X-b.Lever.X, a.Lever.Y-b.Lever.Y) > 0.5 {
		c.not("The nozzle error is not compared: the probe offset was %s, and is %s.", say.At(a.Lever.X, a.Lever.Y), say.At(b.Lever.X, b.Lever.Y))
	} else {
		c.places(ga, gb, r, r.Nearest(a.Zero))
	}
	at := analysis.Lattice(r, 5, 5)
	c.LargestBefore, c.LargestAfter = largestOf(ga, at, nil), largestOf(gb, at, nil)
	c.LeftBefore, c.LeftAfter = left(ga, before.Run), left(gb, after.Run)
	if c.Heat != nil {
		c.Heat.Expand(c.LargestBefore.Gap, r.W())
	}
}

func whyNoGap(js ...analysis.Judged) string {
	for i, which := range []string{"the earlier run", "the later run"} {
		switch v := js[i].Verdict; {
		case v.Gap == nil && v.GapWhy != nil:
			return which + ": " + v.GapWhy.Text
		case v.Gap == nil:
			return which + " has no nozzle error"
		}
	}
	return "the runs were not gauged around the same places"
}

// angle compares twist or pitch over the width that both gauged.
func (c *Comparison) angle(ga, gb *analysis.Gap, r record.Rect, a, b record.Setup) {
	pa, pb := analysis.Pointing(a.Lever), analysis.Pointing(b.Lever)
	rate := func(g *analysis.Gap, l record.Lever) *result.Measured {
		arm := -l.Y
		if pa == analysis.AlongX {
			arm = l.X
		}
		row := r.Middle().V
		m := g.Against(record.Place{U: r.X1, V: row}, record.Place{U: r.X0, V: row}).Times(1/(arm*r.W()), "rad/mm")
		return &m
	}
	switch {
	case a.Lever.None() || b.Lever.None() || a.LeverUnknown || b.LeverUnknown:
		c.not("The twist cannot be compared: a run without a known lever tells no angle.")
	case pa != pb || pa == analysis.Oblique:
		c.not("The twist is not compared: probe offsets of %s and %s show other angles.", say.At(a.Lever.X, a.Lever.Y), say.At(b.Lever.X, b.Lever.Y))
	case pa == analysis.AlongX:
		c.add(changed("pitch", "the pitch of the head along X, with the straightness of the beam", rate(ga, a.Lever), rate(gb, b.Lever)))
	default:
		c.add(changed("twist", "the twist of the beam (how fast the head rolls along X)", rate(ga, a.Lever), rate(gb, b.Lever)))
	}
}

// shapes is how many independent ways of changing the places are tested for together:
// slope, bow and S shape along X, slope and bow along Y, and t s.
const shapes = 6

func (c *Comparison) places(ga, gb *analysis.Gap, r record.Rect, against record.Place) {
	c.Seen = true
	worst := 0.0
	for _, p := range analysis.Lattice(r, 5, 5) {
		a, b := ga.Against(p, against), gb.Against(p, against)
		d := difference(a, b)
		if e := math.Abs(d.Value) - togetherAt(shapes, d.DoF)*d.U; d.U > 0 && e > worst && p.Distance(against) > 1 {
			worst, c.Most = e, &PlaceChange{Place: p, Before: a.Value, U95Before: a.U95(), After: b.Value, U95After: b.U95(), By: d.Value, U95: d.U95()}
		}
	}
}

// largestOf returns where |gap + what is added there| with its doubt is largest.
func largestOf(g *analysis.Gap, at []record.Place, add []float64) *analysis.PlaceGap {
	var out *analysis.PlaceGap
	for i, p := range at {
		m := g.Against(p, g.Zero)
		v, u := m.Value, m.U95()
		if add != nil {
			v += add[i]
		}
		if out == nil || math.Abs(v)+u > math.Abs(out.Gap)+out.U95 {
			out = &analysis.PlaceGap{Place: p, Gap: v, U95: u}
		}
	}
	return out
}

// left returns what the correction in force leaves of the gap error at its nodes
// within the gauged area; nil without one.
func left(g *analysis.Gap, run record.Run) *analysis.PlaceGap {
	a, area := run.Setup.Applied, run.Setup.MapArea
	if a == nil || area == nil || len(a.Add) < 2 || len(a.Add[0]) < 2 {
		return nil
	}
	var at []record.Place
	var add []float64
	for j, row := range a.Add {
		for i, v := range row {
			if p := record.NodePlace(*area, len(a.Add[0]), len(a.Add), i, j); g.Area.Grown(g.Margin).Has(p) {
				at, add = append(at, p), append(add, float64(v)/1000)
			}
		}
	}
	return largestOf(g, at, add)
}

// steadiness compares scatter, play and the level.
func (c *Comparison) steadiness(before, after analysis.Judged) {
	a, b := before.Verdict, after.Verdict
	if !c.add(rescaled("scatter", "the scatter of the probe", a.Stability.Scatter, b.Stability.Scatter)) {
		c.not("The scatter of the probe cannot be compared: the repeat test is not in both runs.")
	}
	c.add(changed("play-x", "the play along X (by side of approach)", a.Stability.PlayX, b.Stability.PlayX))
	c.add(changed("play-y", "the play along Y (by side of approach)", a.Stability.PlayY, b.Stability.PlayY))
	if was, is := before.Run.Setup.Zero, after.Run.Setup.Zero; was.Distance(is) > 1 && a.Level != nil && b.Level != nil {
		c.not("The level of the Z offset cannot be compared: it was set at another place (%s, then %s).", was, is)
	} else if !c.add(changed("level", "how far the Z offset is too high (whoever set it again has changed it)", a.Level, b.Level)) {
		c.not("The level of the Z offset cannot be compared: the zero point is not gauged in both runs.")
	}
}

func (c *Comparison) findings(a, b analysis.Verdict) {
	for _, f := range a.Findings {
		if b.Has(f.ID) {
			c.Stay = append(c.Stay, f.ID)
		} else {
			c.Gone = append(c.Gone, f.ID)
		}
	}
	for _, f := range b.Findings {
		if !a.Has(f.ID) && !slices.Contains(c.Come, f.ID) {
			c.Come = append(c.Come, f.ID)
		}
	}
}

// Of returns the change of a quantity, nil if it was not compared.
func (c Comparison) Of(what string) *Change {
	if i := slices.IndexFunc(c.Changes, func(x Change) bool { return x.What == what }); i >= 0 {
		return &c.Changes[i]
	}
	return nil
}

// says puts first what matters at the nozzle.
func (c Comparison) says(tolerance float64) string {
	var s []string
	for _, what := range []string{"twist", "pitch"} {
		if tilt := c.Of(what); tilt != nil {
			s = append(s, tilt.Sentence())
		}
	}
	switch {
	case c.Most != nil && math.Abs(c.Most.By) <= tolerance/2:
		s = append(s, fmt.Sprintf("At the nozzle something changed, but by less than half of %s.", say.MM(tolerance)))
	case c.Most != nil:
		s = append(s, fmt.Sprintf("At the nozzle it changed most at %s: by %s ±%s.", c.Most.Place, say.Fine(c.Most.By), say.Fine(c.Most.U95)))
	case c.Seen:
		s = append(s, "At the nozzle no change is seen.")
	}
	if a, b := c.LargestBefore, c.LargestAfter; b != nil {
		s = append(s, fmt.Sprintf("The largest nozzle error there is %s ±%s now, and was %s ±%s.", say.Fine(math.Abs(b.Gap)), say.Fine(b.U95), say.Fine(math.Abs(a.Gap)), say.Fine(a.U95)))
	}
	if s == nil {
		return "Neither run's tilt of the head can be compared with the other's."
	}
	return strings.Join(s, " ")
}
