package proof

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// Verdict is what the patches say.
type Verdict string

// Verdicts. Agrees and Contradicts are of patches that were printed without a
// correction.
const (
	Proved      Verdict = "proved"
	Disproved   Verdict = "disproved"
	Agrees      Verdict = "agrees"
	Contradicts Verdict = "contradicts"
	CannotTell  Verdict = "cannot-tell"
)

// Case is what the patches are to be judged against.
type Case struct {
	ZeroU, ZeroV float64
	// Tolerance is what a first layer bears, mm.
	Tolerance float64
	// Corrected says that a correction was in force while they were printed.
	Corrected bool
	// Predicted returns the gap error that was measured at a place without a
	// correction, mm, against the zero place, and its 95 % half width; not ok
	// where it is not told. Nil: nothing was.
	Predicted func(u, v float64) (g, u95 float64, ok bool)
}

// Left is the error at a patch, against the zero place.
type Left struct {
	Patch
	Error     float64 // as the surface through all patches has it, mm
	U95       float64
	Predicted *float64 // the gap error without a correction, mm; nil: not told
}

// Result is what the patches prove.
type Result struct {
	Verdict  Verdict
	Sentence string
	Doubt    string
	Next     string
	Left     []Left
	// Scatter between readings of one patch, mm, with its degrees of freedom.
	Scatter, ScatterDoF float64
	// Share is how much of the predicted gap error the patches show: 1 all of it,
	// 0 none; nil where too little is predicted to tell.
	Share *Share
}

// Share is a number with the half width of its 95 % interval.
type Share struct{ Value, U95 float64 }

// fewest patches that a surface can be drawn through with something to spare.
const fewest = 6

// near is within which distance of the zero place a patch stands there, mm.
const near = 15.0

// Judge says what the readings prove; they have to name their places.
func Judge(readings []Reading, c Case) (Result, error) {
	for _, r := range readings {
		if err := Check(r); err != nil {
			return Result{}, fmt.Errorf("proof: patch at (%.1f, %.1f): %w", r.U, r.V, err)
		}
	}
	ps, scatter, dof := Patches(readings)
	out := Result{Scatter: scatter, ScatterDoF: dof}
	if why := c.enough(ps); why != "" {
		out.Verdict, out.Sentence, out.Next = CannotTell, why, "Read more patches: the one at the zero place, and others on all sides of it."
		return out, nil
	}
	s, err := through(ps, c)
	if err != nil {
		return out, fmt.Errorf("proof: %w", err)
	}
	for _, p := range ps {
		l := Left{Patch: p}
		l.Error, l.U95 = s.at(p.U, p.V)
		if c.Predicted != nil {
			if g, _, ok := c.Predicted(p.U, p.V); ok {
				l.Predicted = &g
			}
		}
		out.Left = append(out.Left, l)
	}
	out.Share = share(out.Left, s.inflated)
	if c.Corrected {
		c.corrected(&out, s)
	} else {
		c.bare(&out)
	}
	return out, nil
}

// enough says what is missing, or "".
func (c Case) enough(ps []Patch) string {
	zero, left, right := false, false, false
	for _, p := range ps {
		d := math.Hypot(p.U-c.ZeroU, p.V-c.ZeroV)
		zero = zero || d < near
		left, right = left || p.U < c.ZeroU-near, right || p.U > c.ZeroU+near
	}
	switch {
	case len(ps) < fewest:
		return fmt.Sprintf("%d patches cannot tell: at least %d are needed.", len(ps), fewest)
	case !zero:
		return "No patch stands at the zero place, against which all count."
	case !left || !right:
		return "All patches lie on one side of the zero place along X: the other side is not told."
	}
	return ""
}

// surface is what is drawn through the patches: 1, t, s, and with enough of them
// t^2 and t s, in units of the half widths about the zero place.
type surface struct {
	c        Case
	ht, hs   float64
	terms    int
	fit      *fit.Result
	inflated float64 // by what the doubts were multiplied
	k        float64 // half widths: Student's t, at least the normal law's
	m        int     // places
}

func (s surface) row(u, v float64) []float64 {
	t, y := (u-s.c.ZeroU)/s.ht, (v-s.c.ZeroV)/s.hs
	return []float64{1, t, y, t * t, t * y}[:s.terms]
}

func through(ps []Patch, c Case) (surface, error) {
	s := surface{c: c, ht: 1, hs: 1, terms: 5, m: len(ps), inflated: 1}
	for _, p := range ps {
		s.ht, s.hs = math.Max(s.ht, math.Abs(p.U-c.ZeroU)), math.Max(s.hs, math.Abs(p.V-c.ZeroV))
	}
	if len(ps) < 9 {
		s.terms = 3
	}
	for ; ; s.terms-- {
		rows, y, w := make([][]float64, len(ps)), make([]float64, len(ps)), make([]float64, len(ps))
		for i, p := range ps {
			rows[i], y[i], w[i] = s.row(p.U, p.V), p.MM, 1/(p.Doubt*p.Doubt)
		}
		r, err := fit.Least(rows, y, w)
		if err == nil && r.Rank == s.terms && r.DoF >= 1 {
			s.fit, s.inflated, s.k = &r, math.Max(1, r.S()), fit.T95(math.Inf(1))
			if s.inflated > 1 {
				s.k = fit.T95(r.DoF)
			}
			return s, nil
		}
		if s.terms == 2 {
			return s, errors.New("the patches lie so that no surface can be drawn through them: read some in another row")
		}
	}
}

// at returns the error against the zero place, and its 95 % half width.
func (s surface) at(u, v float64) (e, u95 float64) {
	d := s.row(u, v)
	d[0] = 0 // the zero place is at t = s = 0
	return s.fit.Predict(d), s.k * s.inflated * math.Sqrt(s.fit.Variance(d))
}

// share is the slope of the thickness over the predicted gap error.
func share(left []Left, inflated float64) *Share {
	var rows [][]float64
	var y, w []float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range left {
		if l.Predicted == nil {
			continue
		}
		g := *l.Predicted
		lo, hi = math.Min(lo, g), math.Max(hi, g)
		rows, y, w = append(rows, []float64{1, g}), append(y, l.MM), append(w, 1/(l.Doubt*l.Doubt))
	}
	r, err := fit.Least(rows, y, w)
	if len(rows) < fewest || err != nil || r.Rank < 2 || hi-lo < 4*record.PatchU {
		return nil
	}
	return &Share{r.Coef[1], fit.T95(r.DoF) * math.Max(inflated, math.Max(1, r.S())) * r.U(1, 1)}
}

// corrected judges what a correction left. It is proved where every |error| with
// its half width is within the tolerance; disproved where one is outside beyond
// the half width that holds for all places at once (Sidak).
func (c Case) corrected(out *Result, s surface) {
	all := distuv.UnitNormal.Quantile(1-(1-math.Pow(0.95, 1/float64(s.m)))/2) / distuv.UnitNormal.Quantile(0.975)
	worst, doubt, bound, off, most := 0.0, 0.0, 0.0, Left{}, Left{}
	proved := true
	for _, l := range out.Left {
		proved = proved && math.Abs(l.Error)+l.U95 <= c.Tolerance
		doubt = math.Max(doubt, l.U95)
		if b := math.Abs(l.Error) + l.U95; b > bound {
			bound, most = b, l
		}
		// What is no smooth surface counts too: the patch alone.
		alone := l
		alone.Error, alone.U95 = l.MM-s.fit.Coef[0], s.k*math.Hypot(l.Doubt, math.Sqrt(s.fit.Unscaled.At(0, 0)))
		for _, l := range []Left{l, alone} {
			if e := math.Abs(l.Error) - all*l.U95; off.N == 0 || e > worst {
				worst, off = e, l
			}
		}
		proved = proved && math.Abs(alone.Error)-all*alone.U95 <= c.Tolerance
	}
	out.Doubt = fmt.Sprintf("Half widths of the 95 %% intervals up to %.3f mm, from %d patches; %s What the patches share (Z offset, plastic) is taken out.", doubt, len(out.Left), out.repeats())
	where := func(l Left) string {
		return fmt.Sprintf("%+.3f ±%.3f mm at (%.0f, %.0f)", l.Error, l.U95, l.U, l.V)
	}
	switch {
	case proved:
		out.Verdict = Proved
		out.Sentence = fmt.Sprintf("The correction is proved on the first layer: at all %d patches what is left is within %.3f mm; most is %s.", len(out.Left), c.Tolerance, where(most))
		out.Next = "Print. Print patches again after each change to the machine."
	case worst > c.Tolerance:
		out.Verdict = Disproved
		out.Sentence = fmt.Sprintf("The correction is disproved: it leaves %s, and a first layer bears %.3f mm.", where(off), c.Tolerance)
		out.Next = c.suspect(out.Share)
	default:
		out.Verdict = CannotTell
		out.Sentence = fmt.Sprintf("The patches neither prove nor disprove the correction: what is left is below %.3f mm at them, and a first layer bears %.3f mm.", bound, c.Tolerance)
		out.Next = "Print more patches (a smaller proof.spacing) in one print, and read each three times: the doubt has to come below the tolerance less what is left."
	}
}

// repeats says how far readings of one patch differ, or what was taken for it.
func (r Result) repeats() string {
	if r.ScatterDoF == 0 {
		return fmt.Sprintf("no patch was read twice, so that %.3f mm are taken for the scatter of a reading (common practice, not measured).", r.Scatter)
	}
	return fmt.Sprintf("readings of one patch differ by %.4f mm (standard deviation, %g degrees of freedom).", r.Scatter, r.ScatterDoF)
}

// suspect reads the share: what kind of wrong the correction is.
func (c Case) suspect(s *Share) string {
	is := func(v float64) bool { return s != nil && math.Abs(s.Value-v) <= math.Max(s.U95, 0.15) }
	undo := "Do not print with it: undo it, or use the file as it was sliced. "
	switch {
	case is(1):
		return "The patches show the whole gap error: the correction was not in force. Look whether the stored levelling was on (the start lines), and whether the corrected file was printed."
	case is(-1):
		return undo + "The patches show the gap error the other way round: the correction counts twice. Was it applied to the map and carried into the file as well?"
	case is(2):
		return undo + "The patches show the gap error doubled: the correction works the wrong way."
	}
	return undo + "Gauge and survey again: something has changed, or the plate lay otherwise."
}

// agrees is the probability below which patches contradict the gauging.
const agrees = 0.001

// bare judges patches that were printed without a correction.
func (c Case) bare(out *Result) {
	out.Doubt = fmt.Sprintf("Each patch is good to about %.3f mm (standard uncertainty); what all share is taken out.", record.PatchU)
	var sw, swr float64
	n := 0
	type part struct{ r, w float64 }
	var parts []part
	for _, l := range out.Left {
		if l.Predicted == nil {
			continue
		}
		_, u95, _ := c.Predicted(l.U, l.V)
		w := 1 / (l.Doubt*l.Doubt + u95*u95/(1.96*1.96))
		parts, n = append(parts, part{l.MM - *l.Predicted, w}), n+1
		sw, swr = sw+w, swr+w*(l.MM-*l.Predicted)
	}
	if n < fewest {
		out.Verdict, out.Sentence, out.Next = CannotTell, "The gap error was not gauged where the patches lie, so that they can be compared with nothing.", "Gauge in the same run; then the patches make the fit surer."
		return
	}
	chi := 0.0
	for _, p := range parts {
		chi += p.w * (p.r - swr/sw) * (p.r - swr/sw)
	}
	tail := distuv.ChiSquared{K: float64(n - 1)}.Survival(chi)
	out.Doubt += fmt.Sprintf(" Chi-square of the differences %.1f on %d degrees of freedom, p = %.3f.", chi, n-1, tail)
	if tail < agrees {
		out.Verdict, out.Sentence = Contradicts, "The patches contradict the gauging, beyond the doubt of both: they are left out of the fit."
		out.Next = "Were they printed with the stored levelling on, without a correction, the plate lying as it did? Gauge again where they differ most."
		return
	}
	out.Verdict, out.Sentence = Agrees, "The patches agree with the gauging within the doubt of both: they join the fit."
	out.Next = "Review the correction with what the patches add."
}
