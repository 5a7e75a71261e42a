package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Later is what became of the gaugings of a later run that was made for this one.
type Later struct {
	Run   string    `json:"run" about:"the later run"`
	Began time.Time `json:"began"`
	// Records is how many of its records came along, Aside how many it had set aside itself.
	Records int `json:"records" about:"of its readings"`
	Aside   int `json:"aside" about:"of them set aside by the later run itself"`
	// Used says that they are in the fit; else Text says why not.
	Used        bool `json:"used" about:"they are in the fit"`
	Contradicts bool `json:"contradicts" about:"they were left out because they contradict the rest"`
	// Lifted says that it contradicts, and that runs after it, which would have shown
	// what it shows, do not show it.
	Lifted bool   `json:"lifted" about:"runs after it, which would have shown what it shows, do not: it contradicts by a slip of its own"`
	Text   string `json:"text" about:"what became of them, in words"`
}

// Joining returns the gaugings of a run as direct readings of the gap error for
// another run of the same printer: touched less contact, up to one constant of this
// run (its Z offset, its blade). Records that the run itself sets aside stay out, and
// those that are not finished.
//
// The uncertainty of each is that of a record of this run: the scatter of the hand as
// its posterior has it, its touches and its last step. Several blades no longer cancel:
// the uncertainty of their thickness is added then (JCGM 100:2008, 5.1.2).
func Joining(run record.Run) record.Joined {
	run = steady.Clean(run)
	run.Gaugings = steady.Finished(run)
	out := record.Joined{Run: run.ID, Began: run.Began, Gaps: []record.GapReading{}}
	if c := run.Cut; c != nil && c.Finding == result.Repair {
		out.Cut = c // what else ends a run says nothing of the places
	}
	if w, ok := steady.WarmthOf(run); ok {
		w.Step, w.T = record.StepGauging, 0
		out.Warmth = &w
	}
	if run.Setup.NoLever() || run.Proof != nil {
		return out
	}
	g := gauge(run, steady.Judge(run), nil, nil, ways{})
	if g.surface.post == nil {
		return out
	}
	out.Aside = len(g.slips)
	blades := bladeDoubt(run, run.Setup.Criteria) / 2
	for i, p := range g.pairs {
		if !g.slips[i] {
			u := math.Sqrt(math.Pow(g.surface.post.Hand(), 2) + p.U*p.U + p.StepU*p.StepU + blades)
			out.Gaps = append(out.Gaps, record.GapReading{Event: p.N, Place: p.Place, G: p.G, U: u})
		}
	}
	return out
}

// Places returns how many places the readings are of: within 1 mm are at one.
func Places(gaps []record.GapReading) int {
	var at []record.Place
	for _, g := range gaps {
		at = append(at, g.Place)
	}
	_, n := grouped(at)
	return n
}

// joinLater takes the gaugings of later runs in, the earliest first, as far as they
// can tell something and do not contradict what is there by then, and reports whether
// there are any. Each run has a constant, from the given one on.
func (g *gauged) joinLater(constant int) bool {
	runs := slices.Clone(g.run.Joined)
	slices.SortStableFunc(runs, func(a, b record.Joined) int { return strings.Compare(a.Run, b.Run) })
	all := make([][]extra, len(runs))
	sf, used := g.alone, false
	for k, j := range runs {
		for _, x := range j.Gaps {
			all[k] = append(all[k], extra{by: byLater, place: x.Place, reading: model.Reading{Row: g.machine.Gap(x.Place), Y: x.G, U: x.U, Constant: constant + k}})
		}
		centred(all[k])
		l := Later{Run: j.Run, Began: j.Began, Records: len(j.Gaps), Aside: j.Aside}
		chi, dof := g.surprise(all[k], sf, 0), float64(len(all[k])-1)
		switch {
		case Places(j.Gaps) < 2:
			l.Text = fmt.Sprintf("%s has fewer than two points, and shows nothing here.", result.Capital(whichRun(j)))
		case sf.post == nil:
			l.Text = fmt.Sprintf("The readings of %s do not compare with this run, and are left out.", whichRun(j))
		case fit.FTail(chi/dof, dof, 1e6) < contradicted:
			l.Contradicts = true
			l.Text = fmt.Sprintf("The %d readings of %s contradict this run (chi-square %.0f on %.0f). They are left out.", len(j.Gaps), whichRun(j), chi, dof)
		default:
			l.Used, used = true, true
			l.Text = fmt.Sprintf("The %d readings of %s count here.%s", len(j.Gaps), whichRun(j), warmer(g.run, j))
			g.extra = append(g.extra, all[k]...)
			if k+1 < len(runs) {
				sf = g.fit()
			}
		}
		g.later = append(g.later, l)
	}
	g.lift(all)
	return used
}

const (
	// tiltChange is the standard deviation of a change of the head's tilt that is thought
	// possible beforehand, mm per mm: 0.15 mm at 100 mm from the zero place, the size of the
	// errors that the program is made for (design value).
	tiltChange = 0.0015
	// lifting is by how much worse a change of the machine must account for all records
	// than a slip in one run does, as a difference of chi-squares with one degree of
	// freedom: 6.63 at 1 % (tables, from memory).
	lifting = 6.63
)

// lift finds the contradictions that runs after them take back: a slip of that one run
// (its own change of tilt, and no other's) accounts for the records of all of them much
// better than a machine that has tilted otherwise since (the same change in all). A run
// that agrees because it gauged where little would show takes nothing back.
func (g *gauged) lift(runs [][]extra) {
	for k, own := range runs {
		if !g.later[k].Contradicts {
			continue
		}
		all := slices.Clone(own)
		for i := k + 1; i < len(runs); i++ {
			if g.later[i].Used {
				all = append(all, runs[i]...)
			}
		}
		if len(all) > len(own) && g.surprise(all, g.alone, len(all))-g.surprise(all, g.alone, len(own)) > lifting {
			g.later[k].Lifted = true
			g.later[k].Text += " Later readings do not show it again: it was a slip."
		}
	}
}

// whichRun says which run it was, as people know it.
func whichRun(j record.Joined) string {
	if j.Began.IsZero() {
		return "the later run"
	}
	return "the later run of " + say.Moment(j.Began)
}

// warmer says by how much the other run was warmer or colder, if it was cold
// against hot; what that did to the head, nobody measured.
func warmer(run record.Run, j record.Joined) string {
	w, ok := steady.WarmthOf(run)
	switch {
	case !ok || j.Warmth == nil || !result.Tame(j.Warmth.Bed, j.Warmth.Nozzle):
		return " It is not known whether the printer was as warm then."
	case math.Abs(j.Warmth.Bed-w.Bed) < steady.Hotter && math.Abs(j.Warmth.Nozzle-w.Nozzle) < steady.Hotter:
		return ""
	}
	return fmt.Sprintf(" The bed was at %.0f °C, the nozzle at %.0f °C then, not at %.0f °C and %.0f °C.",
		j.Warmth.Bed, j.Warmth.Nozzle, w.Bed, w.Nozzle)
}

// offsetMost is by how much the height at which the probe triggers may be another,
// mm: a person who sets the Z offset anew changes it by less, and each run has a
// constant for that; a probe that was mounted anew is off by more, or has another
// lever (common practice, no source).
const offsetMost = 0.3

// Joinable returns why what is gauged with the other setup cannot be joined to a
// run, or nil. What either does not know is not held against it.
func Joinable(run record.Run, other record.Setup) *record.Problem {
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
			return &record.Problem{Code: "printer-changed", Text: fmt.Sprintf("run %s was made with %s: new readings do not compare", run.ID, c.what), Hint: "measure again"}
		}
	}
	return nil
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

// Contradicted is why no number of the run's gap error is told: a later run contradicts
// it, and the records do not tell which of them holds; nil if none does.
func (v Verdict) Contradicted() *record.Problem {
	l := v.otherwise()
	if l == nil {
		return nil
	}
	return &record.Problem{Code: "contradicted",
		Text: fmt.Sprintf("%d readings of a later run contradict this run", l.Records),
		Hint: "take more readings for this run at the same points, or measure again",
	}
}

// Outdated returns why what a run found may no longer hold, as a clause: a later run
// contradicts it, or ended early with a finding; "" if neither.
func (v Verdict) Outdated(run record.Run) string {
	if l := v.otherwise(); l != nil {
		return fmt.Sprintf("%d readings of a later run contradict the first run: the head changed, the gauge was drawn differently, or one is a slip", l.Records)
	}
	if c := cutLater(run); c != nil {
		return "a later run for the same run ended early with the finding " + c.Finding
	}
	return ""
}

// contradicted is the finding that a later run contradicts this one, if one does that
// was not taken back.
func (e evidence) contradicted() []result.Finding {
	l := e.otherwise()
	if l == nil {
		return nil
	}
	f := e.undetermined(otherwiseSays, otherwiseNext)
	f.Evidence = l.Text
	f.Doubt = "The readings do not show which. The other findings leave them out."
	return []result.Finding{f}
}

// otherwiseSays says it, otherwiseNext what to do then.
const otherwiseSays = "Later readings contradict this run. The head changed, the gauge was drawn differently, or one is a slip."

const otherwiseNext = "Take more readings for this run once again, at the same points. If they contradict this run too, measure again."

// sayLater puts into the doubt of the first finding what became of later runs; one
// that contradicts has a finding of its own.
func (v Verdict) sayLater(fs []result.Finding) []result.Finding {
	if len(fs) == 0 {
		return fs
	}
	if v.otherwise() != nil && fs[0].Sentence != otherwiseSays {
		fs[0].Doubt += " Later readings contradict it."
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
	c.Text = "A later run for this one ended early. " + c.Text
	return &c
}
