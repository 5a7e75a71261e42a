package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
