package proof

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"abbed/analysis/fit"
	"abbed/config/say"
	"abbed/probe/record"
)

// Verdict is what the patches say.
type Verdict string

// Verdicts. Agrees and Contradicts are of patches that were printed without a
// correction.
const (
	Verified    Verdict = "verified"
	Wrong       Verdict = "wrong"
	Agrees      Verdict = "agrees"
	Contradicts Verdict = "contradicts"
	CannotTell  Verdict = "cannot-tell"
)

// Case is what the patches are to be judged against.
type Case struct {
	ZeroU, ZeroV float64
	// Tolerance is what a first layer bears, Layer the height that was asked for, mm.
	Tolerance, Layer float64
	// Corrected says that a correction was in force while they were printed.
	Corrected bool
	// Area has to be judged; Planned are the patches that were to be printed, nil
	// where that is not known: then the corners of Area have to be read.
	Area    record.Rect
	Planned []record.Place
	// Predicted returns the gap error that was measured at a place without a
	// correction, mm, against the zero place, and its 95 % half width; not ok
	// where it is not told. Nil: nothing was.
	Predicted func(u, v float64) (g, u95 float64, ok bool)
	// Between is the covariance of that at two places, mm^2. Nil: not known.
	Between func(a, b record.Place) float64
}

// predicted is the gap error without a correction, 0 where it is not told.
func (c Case) predicted(u, v float64) float64 {
	if c.Predicted != nil {
		if g, _, ok := c.Predicted(u, v); ok {
			return g
		}
	}
	return 0
}

// expected is what the run says is left while the patches are printed.
func (c Case) expected(u, v float64) float64 {
	if c.Corrected {
		return 0
	}
	return c.predicted(u, v)
}

// Left is the error at a patch, against the zero place.
type Left struct {
	Patch
	Error     float64
	U95       float64
	Predicted *float64 // the gap error without a correction, mm; nil: not told
}

// Result is what the patches show.
type Result struct {
	Verdict  Verdict
	Sentence string
	Doubt    string
	Next     string
	Left     []Left
	// Gaps and Missing are the places of patches that have gaps, and that were not read.
	Gaps, Missing []record.Place
	// Thicker is by how much all patches are thicker than the layer that was asked for,
	// mm: a Z offset that is too high. 0 where the layer is not known.
	Thicker float64
	// Scatter between readings of one patch, mm, with its degrees of freedom.
	Scatter, ScatterDoF float64
	// Share is how much of the predicted gap error the patches show: 1 all of it,
	// 0 none; nil where too little is predicted to tell.
	Share *Share
}

// Share is a number with the half width of its 95 % interval.
type Share struct{ Value, U95 float64 }

// fewest patches that are worth judging.
const fewest = 6

// near is within which distance of a place a patch stands there, mm; beside of a corner.
const (
	near   = 15.0
	beside = 45.0
)

// Judge says what the readings show; they have to name their places.
func Judge(readings []Reading, c Case) (Result, error) {
	for _, r := range readings {
		if err := Check(r); err != nil {
			return Result{}, fmt.Errorf("proof: patch at (%.1f, %.1f): %w", r.U, r.V, err)
		}
	}
	all, scatter, dof := Patches(readings)
	out := Result{Scatter: scatter, ScatterDoF: dof, Missing: c.missing(all)}
	var ps []Patch
	for _, p := range all {
		if p.N > 0 {
			ps = append(ps, p)
		} else {
			out.Gaps = append(out.Gaps, record.Place{U: p.U, V: p.V})
		}
	}
	if why, next := c.enough(ps); why != "" {
		out.Verdict, out.Sentence, out.Next = CannotTell, why, next
		return out, nil
	}
	m := mix(c, ps, c.lattice())
	out.tell(m, c, ps)
	if why, next := out.slips(); why != "" {
		out.Verdict, out.Sentence, out.Next = CannotTell, why, next
		return out, nil
	}
	bad := m.beyond(c.Tolerance)
	out.Share = share(out.Left)
	if c.Layer > 0 {
		out.Thicker = m.shared - c.Layer
	}
	if c.Corrected {
		c.corrected(&out, bad)
	} else {
		c.bare(&out)
	}
	return out, nil
}

// missing are the planned patches of which nothing was read.
func (c Case) missing(ps []Patch) (out []record.Place) {
	plan, within := c.Planned, near
	if plan == nil {
		plan, within = corners(c.Area), beside
	}
	for _, q := range plan {
		if !slices.ContainsFunc(ps, func(p Patch) bool { return math.Hypot(p.U-q.U, p.V-q.V) < within }) {
			out = append(out, q)
		}
	}
	return out
}

// enough says what keeps everything from being judged, and what to do; or "".
func (c Case) enough(ps []Patch) (why, next string) {
	zero := false
	for _, p := range ps {
		zero = zero || math.Hypot(p.U-c.ZeroU, p.V-c.ZeroV) < near
		if p.Apart > slip {
			return fmt.Sprintf("Two readings of the patch at %s differ by %s.", say.At(p.U, p.V), say.MM(p.Apart)), "Read this patch a third time: one of its readings is a slip."
		}
	}
	switch {
	case len(ps) < fewest:
		return fmt.Sprintf("%d patches with readings are too few: at least %d are needed.", len(ps), fewest), "Read the others. Where most have gaps, set the Z offset lower and print again."
	case !zero:
		return "The patch at the zero point has no reading. All others count against it.", "Read it."
	}
	return "", ""
}

// lattice are places over the area where what is left is looked at, besides the patches.
func (c Case) lattice() (out []record.Place) {
	const n = 5
	if a := c.Area; a.Valid() {
		for k := range n * n {
			out = append(out, record.Place{U: a.X0 + a.W()*float64(k%n)/(n-1), V: a.Y0 + a.H()*float64(k/n)/(n-1)})
		}
	}
	return out
}

// slips says which two patches beside each other differ by more than what is left
// explains, while one of them was read once; or "".
func (r Result) slips() (why, next string) {
	for i, p := range r.Left {
		for _, q := range r.Left[:i] {
			if d := math.Abs(p.MM - p.Error - q.MM + q.Error); d > unlike && min(p.N, q.N) == 1 && math.Hypot(p.U-q.U, p.V-q.V) < beside {
				return fmt.Sprintf("The patches beside each other at %s and %s differ too much.", say.At(q.U, q.V), say.At(p.U, p.V)), "Read both again. Enter all readings."
			}
		}
	}
	return "", ""
}

// tell sets what is left at each patch.
func (r *Result) tell(m mixture, c Case, ps []Patch) {
	for i, p := range ps {
		l := Left{Patch: p}
		l.Error, l.U95 = m.of(i)
		l.U95 *= 1.96
		if c.Predicted != nil {
			if g, _, ok := c.Predicted(p.U, p.V); ok {
				l.Predicted = &g
			}
		}
		r.Left = append(r.Left, l)
	}
}

// share is the slope of the thickness over the predicted gap error.
func share(left []Left) *Share {
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
	return &Share{r.Coef[1], fit.T95(r.DoF) * math.Max(1, r.S()) * r.U(1, 1)}
}

// How likely it may be that more than the tolerance is left somewhere for a correction to
// be verified, and how likely it must be for it to be called wrong. With them wrong ones
// are verified in 2 % of simulated prints, and right ones in 80 %.
const (
	mayBeWrong = 0.033
	isWrong    = 0.9
)

// corrected judges what a correction left, more than the tolerance somewhere with the
// probability bad. Nothing is verified while a planned patch has gaps or was not read.
func (c Case) corrected(out *Result, bad float64) {
	most := slices.MaxFunc(out.Left, func(a, b Left) int { return cmp.Compare(math.Abs(a.Error)+a.U95, math.Abs(b.Error)+b.U95) })
	doubt := slices.MaxFunc(out.Left, func(a, b Left) int { return cmp.Compare(a.U95, b.U95) }).U95
	chance := fmt.Sprintf("%.0f", 100*bad)
	if bad < 0.01 {
		chance = "fewer than 1"
	}
	out.Doubt = fmt.Sprintf("Known to %s from %d patches. More than %s is left somewhere in %s of 100 such prints. What all patches share (Z offset, plastic) is taken out.", say.PM(doubt), len(out.Left), say.MM(c.Tolerance), chance)
	left := fmt.Sprintf("At %s the nozzle is %s", say.At(most.U, most.V), off(most))
	switch {
	case len(out.Gaps) > 0 && bad <= isWrong:
		out.Verdict = CannotTell
		out.Sentence = fmt.Sprintf("The correction is not verified: there are gaps at %s. The nozzle is too high there, or the plastic did not stick.", list(out.Gaps))
		out.Next = "Clean the bed and print the patches again. If the same ones have gaps, undo the correction and measure again."
	case bad > isWrong:
		out.Verdict = Wrong
		out.Sentence = fmt.Sprintf("The correction is wrong. %s. The limit is %s.", left, say.MM(c.Tolerance))
		out.Next = c.suspect(out.Share)
	case len(out.Missing) > 0:
		out.Verdict = CannotTell
		out.Sentence = fmt.Sprintf("The correction is not verified: there is no reading at %s. What is left there is not known.", list(out.Missing))
		out.Next = "Read these patches, and enter all readings again. Write \"gaps\" for a patch whose lines lie apart."
	case bad <= mayBeWrong:
		out.Verdict = Verified
		out.Sentence = fmt.Sprintf("The correction is verified on the first layer. %s. The limit is %s.", left, say.MM(c.Tolerance))
		out.Next = "Print. Print patches again after each change to the machine."
	default:
		out.Verdict = CannotTell
		out.Sentence = fmt.Sprintf("The patches do not show whether the correction is right. %s. The limit is %s.", left, say.MM(c.Tolerance))
		out.Next = fmt.Sprintf("Take a reading at %s with the correction in force. Or print the patches again on a clean bed.", say.At(most.U, most.V))
	}
	if t := out.Thicker; math.Abs(t) > c.Tolerance {
		out.Next = fmt.Sprintf("Set the Z offset %s. All patches are off by as much from the layer of %s. ", say.Goes(-t), say.MM(c.Layer)) + out.Next
	}
}

// off says how far the nozzle is from where it should be.
func off(l Left) string {
	if math.Abs(l.Error) <= l.U95 {
		return fmt.Sprintf("right to within %s", say.MM(math.Abs(l.Error)+l.U95))
	}
	return fmt.Sprintf("%s (%s)", say.Too(l.Error), say.PM(l.U95))
}

func list(ps []record.Place) string {
	var out []string
	for i, p := range ps {
		if i == 3 {
			out = append(out, fmt.Sprintf("%d more", len(ps)-i))
			break
		}
		out = append(out, say.At(p.U, p.V))
	}
	return strings.Join(out, " and ")
}

// suspect reads the share: what kind of wrong the correction is.
func (c Case) suspect(s *Share) string {
	is := func(v float64) bool { return s != nil && math.Abs(s.Value-v) <= math.Max(s.U95, 0.15) }
	undo := "Undo it, or use the file as it was sliced. "
	switch {
	case is(1):
		return "Switch the levelling on in the start lines, or print the corrected file. The correction was not in force: the patches show the whole nozzle error."
	case is(-1):
		return undo + "The patches show the nozzle error the other way round: the correction counts twice. Look whether it is both in the bed map and in the file."
	case is(2):
		return undo + "The patches show the nozzle error doubled: the correction works the wrong way."
	}
	return undo + "Then measure again: the machine has changed, or the plate did not lie as before."
}

// agrees is the probability below which patches contradict the gauging.
const agrees = 0.001

// bare judges patches that were printed without a correction.
func (c Case) bare(out *Result) {
	out.Doubt = fmt.Sprintf("Each patch is good to about %.3f mm (standard uncertainty); what all share is taken out.", record.PatchU)
	if len(out.Gaps) > 0 {
		out.Doubt += fmt.Sprintf(" The patches at %s have gaps and do not count.", list(out.Gaps))
	}
	var differ, w []float64
	for _, l := range out.Left {
		if l.Predicted != nil {
			_, u95, _ := c.Predicted(l.U, l.V)
			differ, w = append(differ, l.MM-*l.Predicted), append(w, 1/(l.Doubt*l.Doubt+u95*u95/(1.96*1.96)))
		}
	}
	n := len(differ)
	if c.Predicted == nil && len(out.Left) >= fewest {
		out.Verdict, out.Sentence = CannotTell, "Nothing was gauged in this run: the nozzle error rests on the patches alone."
		out.Next = "Look at the correction. When it is applied, gauge one point: until then it is unverified."
		return
	}
	if n < fewest {
		out.Verdict, out.Sentence, out.Next = CannotTell, "There are no readings of the feeler gauge where the patches lie.", "Run the step gauging. Then the patches make the nozzle error surer."
		return
	}
	chi := stat.MomentAbout(2, differ, stat.Mean(differ, w), w) * floats.Sum(w)
	tail := distuv.ChiSquared{K: float64(n - 1)}.Survival(chi)
	out.Doubt += fmt.Sprintf(" Chi-square of the differences %.1f on %d degrees of freedom, p = %.3f.", chi, n-1, tail)
	if tail < agrees {
		out.Verdict, out.Sentence = Contradicts, "The patches contradict the readings of the feeler gauge. They do not count."
		out.Next = "Look whether the stored levelling was on, no correction in force, and the plate as before. Then take readings again where they differ most."
		return
	}
	out.Verdict, out.Sentence = Agrees, "The patches agree with the readings of the feeler gauge. They count with them."
	out.Next = "Look at the correction again: the patches make it surer."
}
