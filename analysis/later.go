package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// Later is what became of the gaugings of a later run that was made for this one.
type Later struct {
	// Run is the later run, Records how many of its records came along, Aside how
	// many it had set aside itself.
	Run     string `json:"run"`
	Records int    `json:"records"`
	Aside   int    `json:"aside"`
	// Used says that they are in the fit; else Text says why not.
	Used bool `json:"used"`
	// Contradicts says that they were left out because they contradict the rest.
	Contradicts bool `json:"contradicts"`
	// Lifted says that it contradicts, and that runs after it, which would have shown
	// what it shows, do not show it.
	Lifted bool   `json:"lifted,omitempty"`
	Text   string `json:"text"`
}

// Joining returns the gaugings of a run as direct readings of the gap error for
// another run of the same printer: touched less contact, up to one constant of this
// run (its Z offset, its blade). Records that the run itself sets aside stay out, and
// those that are not finished.
//
// The uncertainty of each is that of a record of this run: the expected scatter of a
// gauging, its touches and its last step (observe), times what the run's own repeats
// say of the hand, with the expected scatter worth priorDoF beside them; where they
// contradict it, by theirs alone. Several blades no longer cancel: the uncertainty
// of their thickness is added then (JCGM 100:2008, 5.1.2).
func Joining(run record.Run) record.Joined {
	run = clean(run)
	run.Gaugings = Finished(run)
	out := record.Joined{Run: run.ID, Began: run.Began, Gaps: []record.GapReading{}}
	if c := run.Cut; c != nil && c.Finding == Repair {
		out.Cut = c // what else ends a run says nothing of the places
	}
	if w, ok := WarmthOf(run); ok {
		w.Step, w.T = record.StepGauging, 0
		out.Warmth = &w
	}
	if run.Setup.NoLever() || run.Proof != nil {
		return out
	}
	g := gauge(run, steady(run), nil, nil)
	aside := map[int64]bool{}
	for _, o := range g.model.Outliers {
		aside[o.N] = aside[o.N] || !o.Used
	}
	ps := keep(g.obs.pairs, func(p Paired) bool { return !aside[p.N] })
	out.Aside = len(g.obs.pairs) - len(ps)
	u := uncertain(ps, run.Setup.Criteria)
	blades := bladeDoubt(run, run.Setup.Criteria) / 2
	for i, p := range ps {
		out.Gaps = append(out.Gaps, record.GapReading{Event: p.N, Place: p.Place, G: p.G, U: math.Hypot(u[i], math.Sqrt(blades))})
	}
	return out
}

// uncertain returns the standard uncertainty of each record, mm.
func uncertain(ps []Paired, c record.Criteria) []float64 {
	o := observe(ps, c)
	w := o.w
	pure, dof := fit.PureError(o.g, o.w, o.places())
	variance := (priorDoF*o.sigma02 + pure) / (priorDoF + dof)
	if o.shaky() {
		variance = o.sigma02
	}
	out := make([]float64, len(ps))
	for i := range ps {
		out[i] = math.Sqrt(variance / w[i])
	}
	return out
}

// Places returns how many places the readings are of: within 1 mm are at one.
func Places(gaps []record.GapReading) int {
	var at []record.Place
	for _, g := range gaps {
		if !slices.ContainsFunc(at, func(p record.Place) bool { return p.Distance(g.Place) < 1 }) {
			at = append(at, g.Place)
		}
	}
	return len(at)
}

// records is how many records at the blade stand in the fit, each later run's less
// the one that its own constant takes.
func (o *observations) records() int {
	n, runs := len(o.pairs), map[int]bool{}
	for _, x := range o.extra {
		if x.kind == gauging {
			n, runs[x.mate] = n+1, true
		}
	}
	return n - len(runs)
}

// area is the rectangle around the gauged places, those of later runs among them.
func (o *observations) area() record.Rect {
	var places []record.Place
	for _, p := range o.pairs {
		places = append(places, p.Place)
	}
	for _, x := range o.extra {
		if x.kind == gauging {
			places = append(places, x.place)
		}
	}
	return record.Bound(places)
}

// joinLater takes the gaugings of later runs into the observations, the earliest
// first, as far as they can tell something and do not contradict what is there by
// then; sf is the fit without them.
func (g *gauged) joinLater(run record.Run, sf surface) {
	runs, alone := slices.Clone(run.Joined), sf
	slices.SortStableFunc(runs, func(a, b record.Joined) int { return strings.Compare(a.Run, b.Run) })
	for k, j := range runs {
		l := Later{Run: j.Run, Records: len(j.Gaps), Aside: j.Aside}
		switch chi, dof := g.against(run, j, sf); {
		case Places(j.Gaps) < 2:
			l.Text = fmt.Sprintf("%s gauged fewer than two places, which by itself tells nothing here.", capital(whichRun(j)))
		case dof < 1:
			l.Text = fmt.Sprintf("The gaugings of %s could not be compared with this run's, and were left out of the fit.", whichRun(j))
		case fit.FTail(chi/dof, dof, 1e6) < contradicted:
			l.Contradicts = true
			l.Text = fmt.Sprintf("The %d gaugings of %s contradict this run's (chi-square %.0f on %.0f degrees of freedom), and were left out of the fit.", len(j.Gaps), whichRun(j), chi, dof)
		default:
			l.Used = true
			l.Text = fmt.Sprintf("%d gaugings of %s are in it, with a constant of their own; they hold as long as nothing was worked on between%s.", len(j.Gaps), whichRun(j), warmer(run, j))
			for _, x := range j.Gaps {
				g.obs.extra = append(g.obs.extra, extra{gauging, firstLater + k, x.Place, x.G, x.U})
			}
			g.supported()
			if k+1 < len(runs) {
				if next, ok := average(g.obs, g.support.candidates(), newFrame(g.obs.area(), sf.frame.prof)); ok {
					sf = next
				}
			}
		}
		g.later = append(g.later, l)
	}
	g.lift(run, runs, alone)
}

const (
	// tiltChange is the standard deviation of a change of the head's tilt that is thought
	// possible beforehand, mm at 100 mm from the zero place: the size of the errors that
	// the program is made for (design value).
	tiltChange = 0.15
	// lifting is by how much worse a change of the machine must account for all records
	// than a slip in one run does, as a difference of chi-squares: that of the level
	// contradicted with one degree of freedom (10.83 at 0.1 %; tables, from memory).
	lifting = 10.83
)

// lift finds the contradictions that runs after them take back: a slip of that one run
// (its own change of tilt, and no other's) accounts for the records of all of them much
// better than a machine that has tilted otherwise since (the same change in all). A run
// that agrees because it gauged where little would show takes nothing back. sf is the
// fit without later runs.
func (g *gauged) lift(run record.Run, runs []record.Joined, sf surface) {
	for k := range runs {
		if !g.later[k].Contradicts {
			continue
		}
		after := []record.Joined{runs[k]}
		for i := k + 1; i < len(runs); i++ {
			if g.later[i].Used {
				after = append(after, runs[i])
			}
		}
		if len(after) > 1 && g.changed(run, after, sf, 1, len(after)) > lifting {
			g.later[k].Lifted = true
			g.later[k].Text += " What was gauged after it does not show it again: its records were a slip."
		}
	}
}

// changed is by how much worse a change of tilt in the first many of the runs accounts
// for all their records than one in the first few, as a difference of chi-squares; 0
// where it cannot be told. Each run has a constant of its own.
func (g *gauged) changed(run record.Run, runs []record.Joined, sf surface, few, many int) float64 {
	var gaps []record.GapReading
	var of []int
	for k, j := range runs {
		for _, x := range j.Gaps {
			gaps, of = append(gaps, x), append(of, k)
		}
	}
	d, v := g.apartFrom(run, gaps, sf)
	prior := make([]float64, len(runs)+2)
	prior[len(runs)], prior[len(runs)+1] = 1/(tiltChange*tiltChange), 1/(tiltChange*tiltChange)
	rest := func(tilts int) (float64, bool) {
		x := mat.NewDense(len(gaps), len(runs)+2, nil)
		for i, q := range gaps {
			x.Set(i, of[i], 1)
			if of[i] < tilts {
				x.Set(i, len(runs), (q.Place.U-run.Setup.Zero.U)/100)
				x.Set(i, len(runs)+1, (q.Place.V-run.Setup.Zero.V)/100)
			}
		}
		return generalised(d, v, x, prior)
	}
	a, ok := rest(many)
	b, fine := rest(few)
	if !ok || !fine {
		return 0
	}
	return a - b
}

// whichRun says which run it was, as people know it.
func whichRun(j record.Joined) string {
	if j.Began.IsZero() {
		return "the later run"
	}
	return "the later run of " + j.Began.Local().Format("2 January 2006, 15:04")
}

// warmer says by how much the other run was warmer or colder, if it was cold
// against hot; what that did to the head, nobody measured.
func warmer(run record.Run, j record.Joined) string {
	w, ok := WarmthOf(run)
	switch {
	case !ok || j.Warmth == nil || !tame(j.Warmth.Bed, j.Warmth.Nozzle):
		return "; whether it was as warm then is not known"
	case math.Abs(j.Warmth.Bed-w.Bed) < hotter && math.Abs(j.Warmth.Nozzle-w.Nozzle) < hotter:
		return ""
	}
	return fmt.Sprintf("; it was gauged with the bed at %.0f C and the nozzle at %.0f C, and not at %.0f C and %.0f C: what the warmth bends is not in the doubt",
		j.Warmth.Bed, j.Warmth.Nozzle, w.Bed, w.Nozzle)
}

// against returns the chi-square of what a later run read less what the fit
// foretells there, its constant taken out, and the degrees of freedom: generalised
// least squares with the covariance of what is foretold, since neighbours are
// foretold wrongly together (Draper, Smith, Applied Regression Analysis, 9.2; from
// memory). dof is 0 where there is nothing to be compared.
func (g *gauged) against(run record.Run, j record.Joined, sf surface) (chi, dof float64) {
	n := len(j.Gaps)
	if n < 2 {
		return 0, 0
	}
	d, v := g.apartFrom(run, j.Gaps, sf)
	one := mat.NewDense(n, 1, nil)
	for i := range n {
		one.Set(i, 0, 1)
	}
	chi, ok := generalised(d, v, one, nil)
	if !ok {
		return 0, 0
	}
	return chi, float64(n - 1)
}

// apartFrom returns what readings show less what the fit foretells at their places,
// mm, with the covariance of that, mm2. Outside the gauged area the doubt grows as
// Gap.Beyond has it; beside the only row that was gauged, where the Y axis may do
// anything, by the steepest slope that a correction may have: what lies there is new, and
// no contradiction.
func (g *gauged) apartFrom(run record.Run, gaps []record.GapReading, sf surface) (*mat.VecDense, *mat.SymDense) {
	zero, n := run.Setup.Zero, len(gaps)
	trial := &Gap{Zero: zero, Area: g.obs.area(), surface: sf, steep: run.Setup.Criteria.Steepest / 10}
	c, d, v := make([]vector, n), mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
	for i, x := range gaps {
		var told float64
		c[i], told = sf.difference(x.Place, zero, anyTerm)
		d.SetVec(i, x.G-told)
		_, u95, far := trial.Beyond(x.Place)
		for k := range i + 1 {
			v.SetSym(i, k, sf.cov.between(c[i], c[k]))
		}
		own := x.U*x.U + sf.unsure(x.Place, zero, anyTerm)
		if far > 0 {
			u95 = math.Max(u95, trial.across(x.Place)*run.Setup.Criteria.Steepest)
			own += u95 * u95 / (z95 * z95)
		}
		v.SetSym(i, i, v.At(i, i)+own)
	}
	return d, v
}

// generalised returns the weighted sum of squares that the columns of x leave of d,
// whose covariance is v; prior is the inverse variance about 0 that each column's
// coefficient is held to beforehand, nil for none. ok is false where v or the columns
// have no inverse.
func generalised(d *mat.VecDense, v *mat.SymDense, x *mat.Dense, prior []float64) (rest float64, ok bool) {
	var chol, normal mat.Cholesky
	var vd, xd, b mat.VecDense
	var vx, xvx mat.Dense
	if !chol.Factorize(v) || chol.SolveVecTo(&vd, d) != nil || chol.SolveTo(&vx, x) != nil {
		return 0, false
	}
	xvx.Mul(x.T(), &vx)
	n, _ := xvx.Dims()
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			sym.SetSym(i, k, (xvx.At(i, k)+xvx.At(k, i))/2)
		}
		if prior != nil {
			sym.SetSym(i, i, sym.At(i, i)+prior[i])
		}
	}
	xd.MulVec(x.T(), &vd)
	if !normal.Factorize(sym) || normal.SolveVecTo(&b, &xd) != nil {
		return 0, false
	}
	return math.Max(mat.Dot(d, &vd)-mat.Dot(&xd, &b), 0), true
}

// between returns a' m b.
func (m *matrix) between(a, b vector) float64 {
	v := 0.0
	for i := range a {
		if a[i] == 0 {
			continue
		}
		for k := range b {
			v += a[i] * b[k] * m[i][k]
		}
	}
	return v
}

// otherwise is the latest later run that contradicts this one and was not taken back
// since: then what this run found may no longer hold.
func (v Verdict) otherwise() *Later {
	for i := len(v.Later) - 1; i >= 0; i-- {
		if l := &v.Later[i]; l.Contradicts && !l.Lifted {
			return l
		}
	}
	return nil
}

// Outdated returns why what a run found may no longer hold, as a clause: a later run
// contradicts it, or ended early with a finding; "" if neither.
func (v Verdict) Outdated(run record.Run) string {
	if l := v.otherwise(); l != nil {
		return fmt.Sprintf("%d gaugings of a later run contradict the run that it was made from: the head tilts otherwise now, the blade was drawn in another way, or one of the records is a slip", l.Records)
	}
	if c := cutLater(run); c != nil {
		return "a later run for the one that it was made from ended early with the finding " + c.Finding
	}
	return ""
}

// contradicted is the finding that a later run contradicts this one, if one does that
// was not taken back.
func (e evidence) contradicted() []Finding {
	l := e.otherwise()
	if l == nil {
		return nil
	}
	f := e.undetermined(otherwiseSays, otherwiseNext)
	f.Evidence = l.Text
	f.Doubt = "Which of them it is, the records do not tell. What was found without them stands in the other findings."
	return []Finding{f}
}

// otherwiseSays says it, otherwiseNext what to do then.
const otherwiseSays = "What was gauged later contradicts this run: the head tilts otherwise now, the blade was drawn in another way, or one of the records is a slip."

const otherwiseNext = "Gauge more for this run once again, at the same places: if they show nothing of it, the later records were a slip. If it contradicts this run too, or cannot tell, take the machine for another than then: measure the whole job again."

// sayLater puts into the doubt of the first finding what became of later runs; one
// that contradicts has a finding of its own.
func (v Verdict) sayLater(fs []Finding) []Finding {
	if len(fs) == 0 {
		return fs
	}
	if v.otherwise() != nil && fs[0].Sentence != otherwiseSays {
		fs[0].Doubt += " What was gauged later contradicts it; see below."
	}
	for _, l := range v.Later {
		if !l.Contradicts || l.Lifted {
			fs[0].Doubt += " " + l.Text
		}
	}
	return fs
}

// cutLater is why the latest later run ended early, if that was a finding: what it
// met counts for this run too.
func cutLater(run record.Run) *record.Cut {
	var last record.Joined
	for _, j := range run.Joined {
		if j.Run >= last.Run {
			last = j
		}
	}
	if last.Cut == nil {
		return nil
	}
	c := *last.Cut
	c.Text = "A later run that gauged more for this one ended early. " + c.Text
	return &c
}

// offsetMost is by how much the height at which the probe triggers may be another,
// mm: a person who sets the Z offset anew changes it by less, and each run has a
// constant for that; a probe that was mounted anew is off by more, or has another
// lever (common practice, no source).
const offsetMost = 0.3

// Joinable returns why what is gauged with the other setup cannot be joined to a
// run, or nil. What either does not know is not held against it.
func Joinable(run record.Run, other record.Setup) *Reason {
	was := run.Setup
	for _, c := range []struct {
		what  string
		other bool
	}{
		{"another printer", was.Printer.ID != other.Printer.ID && was.Printer.ID != "" && other.Printer.ID != ""},
		{"another lever from nozzle to probe", was.Lever != other.Lever || was.LeverUnknown != other.LeverUnknown},
		{"another trigger height of the probe", was.TriggerKnown && other.TriggerKnown && math.Abs(was.Trigger-other.Trigger) > offsetMost},
		{"another layout of the machine", was.Layout != other.Layout && was.Layout != "" && other.Layout != ""},
		{"another kind of probe", was.Kind != other.Kind && was.Kind != "" && other.Kind != ""},
	} {
		if c.other {
			return &Reason{"printer-changed", fmt.Sprintf("run %s was made with %s: what is gauged now tells nothing of it", run.ID, c.what), "measure the whole job again"}
		}
	}
	return nil
}
