package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/probe/record"
)

// Judged is a run with its verdict.
type Judged struct {
	Run     record.Run
	Verdict Verdict
}

// Comparison is what became of a machine between two runs.
type Comparison struct {
	// Before and After are the identifiers of the runs.
	Before string `json:"before"`
	After  string `json:"after"`
	// Changes are the quantities that both runs tell, and Not what cannot be
	// compared, each with the reason.
	Changes []Change `json:"changes"`
	Not     []string `json:"not"`
	// Places are the gap errors at places that both runs gauged around; they are
	// compared against one place of both.
	Places []PlaceChange `json:"places"`
	// Against is that place.
	Against record.Place `json:"against"`
	// Most is the place that changed most beyond its doubt, nil if none did beyond
	// the doubt of all places together.
	Most *PlaceChange `json:"most"`
	// Largest is the gap error that is largest, in size with its doubt, before and
	// after, on those places; Left what the correction then in force leaves of it,
	// nil without one.
	LargestBefore *PlaceGap `json:"largest_before"`
	LargestAfter  *PlaceGap `json:"largest_after"`
	LeftBefore    *PlaceGap `json:"left_before"`
	LeftAfter     *PlaceGap `json:"left_after"`
	// Gone, Stay and Come are the findings by their identifiers.
	Gone []string `json:"gone"`
	Stay []string `json:"stay"`
	Come []string `json:"come"`
	// Heat compares the temperatures; nil if either run does not know its own.
	Heat *HeatChange `json:"heat"`
	// Sentence says what matters first.
	Sentence string `json:"sentence"`
}

// PlaceGap is a gap error at a place, mm.
type PlaceGap struct {
	Place record.Place `json:"place"`
	Gap   float64      `json:"gap"`
	U95   float64      `json:"u95"`
}

// PlaceChange is the gap error at a place in two runs, mm, and the change with its
// 95 % half width for this place alone.
type PlaceChange struct {
	Place     record.Place `json:"place"`
	Before    float64      `json:"before"`
	U95Before float64      `json:"u95_before"`
	After     float64      `json:"after"`
	U95After  float64      `json:"u95_after"`
	By        float64      `json:"by"`
	U95       float64      `json:"u95"`
	DoF       float64      `json:"-"`
	// Beyond is whether the change is beyond the doubt of all places together
	// (Scheffe): of many places one leaves its own interval by chance.
	Beyond bool `json:"beyond"`
}

// Compare returns what changed between two runs, or the reason why they cannot be
// compared at all: two printers. What one of them does not tell is listed in Not.
//
// The twist is compared over the width that both gauged, the gap error on a
// lattice of 5 x 5 places there. Another lever along the same axis leaves the
// twist comparable (it is an angle of the beam) and the gap error not.
func Compare(before, after Judged) (Comparison, *Reason) {
	before.Run, after.Run = clean(before.Run), clean(after.Run)
	a, b := before.Run.Setup, after.Run.Setup
	c := Comparison{Before: before.Run.ID, After: after.Run.ID, Changes: []Change{}, Not: []string{}, Places: []PlaceChange{}, Gone: []string{}, Stay: []string{}, Come: []string{}}
	if a.Printer.ID != b.Printer.ID && a.Printer.ID != "" && b.Printer.ID != "" {
		return c, &Reason{"not-comparable", "the runs are of two printers: nothing that differs between them is a change", "compare runs of one printer"}
	}
	if a.Printer.ID == "" || b.Printer.ID == "" {
		c.not("Whether both runs are of one printer is not known: a file does not say.")
	}
	c.heat(before.Run, after.Run)
	c.angles(before, after)
	c.gaps(before, after)
	c.steadiness(before.Verdict, after.Verdict)
	c.levels(before, after)
	if r, ok := common(before.Verdict.Gap, after.Verdict.Gap); ok && c.Heat != nil && c.LargestBefore != nil {
		c.Heat.Expand(c.LargestBefore.Gap, r.W())
	}
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
func common(a, b *Gap) (record.Rect, bool) {
	if a == nil || b == nil {
		return record.Rect{}, false
	}
	r := a.Area.Meet(b.Area)
	wide := a.Area.Grown(a.Margin).Meet(b.Area.Grown(b.Margin))
	if a.Area.W() < apart || b.Area.W() < apart {
		r.X0, r.X1 = wide.X0, wide.X1
	}
	if a.Area.H() < apart || b.Area.H() < apart {
		m := (wide.Y0 + wide.Y1) / 2 // a row is a row
		r.Y0, r.Y1 = m, m
		if wide.Y1 < wide.Y0 {
			return r, false
		}
	}
	return r, r.X1-r.X0 >= 0 && r.Y1-r.Y0 >= 0
}

// told returns the gap error at p against q as a value. Beside a single gauged line it
// widens like Gap.Beyond.
func (g *Gap) told(p, q record.Place) Measured {
	v, half := g.surface.contrast(p, q)
	half = math.Hypot(half, math.Hypot(g.across(p), g.across(q))*g.steep)
	return measured(v, half/z95, math.Inf(1), "mm")
}

// angles compares twist and pitch over the width that both gauged.
func (c *Comparison) angles(before, after Judged) {
	r, ok := common(before.Verdict.Gap, after.Verdict.Gap)
	if !ok || r.W() < apart {
		c.not("The twist cannot be compared: %s.", whyNoGap(before, after))
		return
	}
	la, lb := before.Run.Setup.Lever, after.Run.Setup.Lever
	if la.None() || lb.None() || before.Run.Setup.LeverUnknown || after.Run.Setup.LeverUnknown {
		c.not("The twist cannot be compared: a run without a known lever tells no angle.")
		return
	}
	what, says, arms := "twist", "the twist of the beam (how fast the head rolls along X)", [2]float64{-la.Y, -lb.Y}
	switch pa, pb := pointing(la), pointing(lb); {
	case pa != pb || pa == oblique:
		c.not("The twist cannot be compared: with the levers x=%.1f y=%.1f and x=%.1f y=%.1f mm the runs do not tell the same angle.", la.X, la.Y, lb.X, lb.Y)
		return
	case pa == alongX:
		what, says, arms = "pitch", "the pitch of the head along X, with the straightness of the beam", [2]float64{la.X, lb.X}
	}
	var m [2]*Measured
	for i, g := range []*Gap{before.Verdict.Gap, after.Verdict.Gap} {
		row := r.Middle().V
		x := g.told(record.Place{U: r.X1, V: row}, record.Place{U: r.X0, V: row})
		x = x.times(1/(arms[i]*r.W()), "rad/mm")
		m[i] = &x
	}
	c.add(changed(what, says, m[0], m[1]))
}

// times returns the value in another unit.
func (m Measured) times(k float64, unit string) Measured {
	m.Value, m.U, m.Unit = k*m.Value, math.Abs(k)*m.U, unit
	m.Lo95, m.Hi95 = k*m.Lo95, k*m.Hi95
	if k < 0 {
		m.Lo95, m.Hi95 = m.Hi95, m.Lo95
	}
	return m
}

func whyNoGap(before, after Judged) string {
	for i, j := range []Judged{before, after} {
		if j.Verdict.Gap == nil {
			which := [2]string{"the earlier run", "the later run"}[i]
			if w := j.Verdict.GapWhy; w != nil {
				return which + ": " + w.Text
			}
			return which + " has no gap error"
		}
	}
	return "the runs were not gauged around the same places"
}

// gaps compares the gap error at common places.
func (c *Comparison) gaps(before, after Judged) {
	ga, gb := before.Verdict.Gap, after.Verdict.Gap
	r, ok := common(ga, gb)
	la, lb := before.Run.Setup.Lever, after.Run.Setup.Lever
	switch {
	case !ok:
		c.not("The gap error cannot be compared: %s.", whyNoGap(before, after))
		return
	case math.Hypot(la.X-lb.X, la.Y-lb.Y) > 0.5:
		c.not("The gap error is not compared as a change: the lever was x=%.1f y=%.1f and is x=%.1f y=%.1f mm, which alone makes another gap error.", la.X, la.Y, lb.X, lb.Y)
	default:
		c.places(ga, gb, r, before.Run.Setup.Zero, after.Run.Setup.Criteria.Tolerance)
	}
	at := latticeOn(r)
	c.LargestBefore, c.LargestAfter = ga.largestOf(at, nil), gb.largestOf(at, nil)
	c.LeftBefore, c.LeftAfter = ga.left(before.Run), gb.left(after.Run)
}

// steadiness compares scatter and play.
func (c *Comparison) steadiness(a, b Verdict) {
	if !c.add(rescaled("scatter", "the scatter of the probe", a.Stability.Scatter, b.Stability.Scatter)) {
		c.not("The scatter of the probe cannot be compared: the repeat test is not in both runs.")
	}
	c.add(changed("play-x", "the play along X (by side of approach)", a.Stability.PlayX, b.Stability.PlayX))
	c.add(changed("play-y", "the play along Y (by side of approach)", a.Stability.PlayY, b.Stability.PlayY))
}

func (c *Comparison) levels(a, b Judged) {
	switch {
	case a.Verdict.Level == nil || b.Verdict.Level == nil:
		c.not("The level of the Z offset cannot be compared: the zero place is not gauged in both runs.")
	case a.Run.Setup.Zero.Distance(b.Run.Setup.Zero) > 1:
		c.not("The level of the Z offset cannot be compared: it was set at another place (%s, then %s).", a.Run.Setup.Zero, b.Run.Setup.Zero)
	default:
		c.add(changed("level", "how far the Z offset is too high (whoever set it anew has changed it)", a.Verdict.Level, b.Verdict.Level))
	}
}

func (c *Comparison) findings(a, b Verdict) {
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
	for i := range c.Changes {
		if c.Changes[i].What == what {
			return &c.Changes[i]
		}
	}
	return nil
}

// says puts first what matters at the nozzle.
func (c Comparison) says(tolerance float64) string {
	tilt := c.Of("twist")
	if tilt == nil {
		tilt = c.Of("pitch")
	}
	s := ""
	if tilt != nil {
		s = tilt.Sentence()
	}
	switch {
	case c.Most != nil:
		s += fmt.Sprintf(" At the nozzle it changed most at %s: by %s ± %s.", c.Most.Place, um(c.Most.By), um(c.Most.U95))
	case len(c.Places) > 0 && slices.ContainsFunc(c.Places, func(p PlaceChange) bool { return p.Beyond }):
		s += fmt.Sprintf(" At the nozzle something changed beyond its doubt, but by no more than half of the tolerance of %s.", um(tolerance))
	case len(c.Places) > 0:
		s += " At the nozzle no change is seen at the places that both runs gauged around."
	}
	if b := c.LargestAfter; b != nil {
		s += fmt.Sprintf(" The largest gap error there is %s ± %s now", um(math.Abs(b.Gap)), um(b.U95))
		if a := c.LargestBefore; a != nil {
			s += fmt.Sprintf(", and was %s ± %s", um(math.Abs(a.Gap)), um(a.U95))
		}
		s += "."
	}
	if s == "" {
		s = "Neither run's tilt of the head can be compared with the other's."
	}
	return capital(trimmed(s))
}
