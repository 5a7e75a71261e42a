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
	Contradicts bool   `json:"contradicts"`
	Text        string `json:"text"`
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
	runs := slices.Clone(run.Joined)
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
// memory). Outside the gauged area the doubt grows as Gap.Beyond has it. dof is 0
// where there is nothing to be compared.
func (g *gauged) against(run record.Run, j record.Joined, sf surface) (chi, dof float64) {
	n := len(j.Gaps)
	if n < 2 {
		return 0, 0
	}
	zero := run.Setup.Zero
	trial := &Gap{Zero: zero, Area: g.obs.area(), surface: sf, steep: run.Setup.Criteria.Steepest / 10}
	c, d, one := make([]vector, n), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	v := mat.NewSymDense(n, nil)
	for i, x := range j.Gaps {
		var told float64
		c[i], told = sf.difference(x.Place, zero, anyTerm)
		d.SetVec(i, x.G-told)
		one.SetVec(i, 1)
		_, u95, far := trial.Beyond(x.Place)
		for k := range i + 1 {
			v.SetSym(i, k, sf.cov.between(c[i], c[k]))
		}
		own := x.U*x.U + sf.unsure(x.Place, zero, anyTerm)
		if far > 0 {
			own += u95 * u95 / (z95 * z95)
		}
		v.SetSym(i, i, v.At(i, i)+own)
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return 0, 0
	}
	var vd, v1 mat.VecDense
	if chol.SolveVecTo(&vd, d) != nil || chol.SolveVecTo(&v1, one) != nil {
		return 0, 0
	}
	level := mat.Dot(one, &vd) / mat.Dot(one, &v1)
	return math.Max(mat.Dot(d, &vd)-level*mat.Dot(one, &vd), 0), float64(n - 1)
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

// otherwise is the latest later run if it contradicts this one: then what this run
// found may no longer hold.
func (v Verdict) otherwise() *Later {
	if n := len(v.Later); n > 0 && v.Later[n-1].Contradicts {
		return &v.Later[n-1]
	}
	return nil
}

// Outdated returns why what a run found may no longer hold, as a clause: the latest
// later run contradicts it, or ended early with a finding; "" if neither.
func (v Verdict) Outdated(run record.Run) string {
	if l := v.otherwise(); l != nil {
		return fmt.Sprintf("%d gaugings of a later run contradict the run that it was made from: the head tilts otherwise now, the blade was drawn in another way, or one of the records is a slip", l.Records)
	}
	if c := cutLater(run); c != nil {
		return "a later run for the one that it was made from ended early with the finding " + c.Finding
	}
	return ""
}

// contradicted is the finding that a later run contradicts this one, if the latest
// does.
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

const otherwiseNext = "Gauge more for this run once again: if that agrees, the later records were a slip. If it contradicts this run too, the machine is another than then: measure the whole job again."

// sayLater puts into the doubt of the first finding what became of later runs; one
// that contradicts has a finding of its own.
func (v Verdict) sayLater(fs []Finding) []Finding {
	for i, l := range v.Later {
		switch {
		case len(fs) == 0:
		case l.Contradicts && i == len(v.Later)-1:
			if fs[0].Sentence != otherwiseSays {
				fs[0].Doubt += " What was gauged later contradicts it; see below."
			}
		default:
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
