package probe

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"abbed/analysis"
	"abbed/analysis/plan"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Forecast is what is ahead of a run, before each step and after each record: how
// long it takes, and how well it will know. Parts of steps that the run has not
// are nil, and a survey that is done.
type Forecast struct {
	// Measured says that Scatter and Touch are this run's own; before the repeat
	// test they are what is usual.
	Measured bool
	// Scatter is the standard deviation of one touch, mm; Touch and Record are
	// how long a touch and a record at the blade take.
	Scatter       float64
	Touch, Record time.Duration
	// Left is how long everything takes that is still to be done.
	Left    time.Duration
	Repeat  *RepeatAhead
	Gauging *GaugingAhead
	Survey  *SurveyAhead
}

// RepeatAhead is the repeat test.
type RepeatAhead struct {
	Touches int
	Begun   bool // it is under way or done: its time is no longer in Left
	Time    time.Duration
}

// GaugingAhead is the work at the blade.
type GaugingAhead struct {
	// Records were made, Left are still planned, Most is where it ends at the
	// latest (the lean plan; 0: Left it is).
	Records, Left, Most int
	Time                time.Duration
	// Now is the largest u95 in the gauged area, mm; nil while it is not told.
	Now *float64
	// Straight and Bent are the largest u95 that the plan will give where the gap
	// error is linear, and where it bends; nil where it cannot.
	Straight, Bent *float64
	// Target is the largest u95 that is wanted, mm.
	Target float64
	// First says, of a later run, what the earlier one asks for; "" else.
	First string
}

// SurveyAhead is the survey.
type SurveyAhead struct {
	plan.SurveyPlan
	// Chosen says that the planner chose what nobody gave.
	Chosen bool
	Begun  bool // it is under way: its time is no longer in Left
	Target float64
	Time   time.Duration
}

// usualScatter is the scatter of a touch before it is measured, mm (common
// practice, no source).
const usualScatter = 0.005

// Foresee says what is ahead of the run as its events stand.
func Foresee(run record.Run, p Plan) Forecast {
	f := Forecast{Scatter: usualScatter}
	needs := needsOf(run)
	if needs.measured {
		f.Scatter, f.Measured = needs.scatter, true
	}
	f.Touch, f.Record = seconds(plan.TouchTime(run)), seconds(plan.RecordTime(run))
	if p.Earlier != nil && len(run.Gaugings) < 3 {
		f.Record = seconds(plan.RecordTime(p.Earlier.Run)) // the person's own pace then
	}
	begun := func(s record.Step) bool { return run.Step == s || run.Did(s) }
	if run.Asked(record.StepRepeat) {
		n := 4*p.Rounds + p.Passes*len(p.row(run.Setup, NewRoom(run)))
		f.Repeat = &RepeatAhead{Touches: n, Time: time.Duration(n) * f.Touch, Begun: begun(record.StepRepeat)}
		if !f.Repeat.Begun {
			f.Left += f.Repeat.Time
		}
	}
	if run.Asked(record.StepGauging) && !run.Setup.NoLever() {
		f.Gauging = p.gaugingAhead(run, f.Record)
		if !run.Did(record.StepGauging) {
			f.Left += f.Gauging.Time
		}
	}
	if run.Asked(record.StepSurvey) && !run.Did(record.StepSurvey) {
		f.Survey = p.surveyAhead(run, needs, f.Touch)
		f.Survey.Begun = begun(record.StepSurvey)
		if !f.Survey.Begun {
			f.Left += f.Survey.Time
		}
	}
	return f
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// gaugingAhead foretells the gauging: the places that are still planned, and what
// they and the records so far give.
func (p Plan) gaugingAhead(run record.Run, each time.Duration) *GaugingAhead {
	alone := len(run.Steps) == 1 || p.Earlier != nil
	gs := gaugedPlaces(steady.Pairs(run), run)
	room := NewRoom(run)
	r := route{aims: p.aims(run.Setup, alone), reach: run.Setup.Reach}
	var places []record.Place
	for _, g := range run.Gaugings {
		places = append(places, g.Place)
	}
	a := &GaugingAhead{Records: len(places), Target: p.Target}
	if !run.Did(record.StepGauging) {
		for range p.owedHere(run, alone) {
			places = append(places, places[len(places)-1])
		}
		for k, q := range r.walk(gs, room) {
			for range p.recordsAt(len(gs)+k, alone) {
				places = append(places, q)
			}
		}
		if last := len(places) - 1; !alone && last > 0 && places[last].Distance(run.Setup.Zero) >= 1 {
			for range p.recordsBack(alone) {
				places = append(places, run.Setup.Zero)
			}
		}
		if p.Lean && !alone {
			a.Most = p.most(run.Setup)
		}
	}
	a.Left = len(places) - a.Records
	a.Time = time.Duration(a.Left) * each
	for bent, to := range map[bool]**float64{false: &a.Straight, true: &a.Bent} {
		if u, ok := analysis.Expect(places, run.Setup, bent); ok {
			*to = &u
		}
	}
	if len(run.Gaugings) > 2 {
		if now := analysis.Advise(run, nil, p.Target); now.Told && now.Now > 0 {
			a.Now = &now.Now
		}
	}
	if p.Earlier != nil {
		p.laterAhead(a, run)
	}
	return a
}

// owedHere is how many records the place still owes that was recorded last: none
// once the head has gone on, or where the place had been gauged before and was come
// back to.
func (p Plan) owedHere(run record.Run, alone bool) int {
	if len(run.Gaugings) == 0 {
		return 0
	}
	last := run.Gaugings[len(run.Gaugings)-1]
	var here []record.Gauging
	if last.Spot != spotsOf(run)-1 {
		return 0
	}
	for _, g := range run.Gaugings {
		switch {
		case g.Spot == last.Spot:
			here = append(here, g)
		case g.Place.Distance(last.Place) < 1:
			return 0
		}
	}
	return max(0, p.recordsAt(last.Spot, alone)+p.roughs(here, alone)-len(here))
}

// surveyAhead foretells the survey: as it is planned from what is known now.
func (p Plan) surveyAhead(run record.Run, needs needs, each time.Duration) *SurveyAhead {
	q := p.forSurvey(run, needs)
	return &SurveyAhead{SurveyPlan: q, Chosen: p.Chosen, Target: p.ProfileTarget, Time: time.Duration(q.Touches) * each}
}

// Says tells what is ahead to people, a sentence a part. A step that is under way has
// its own progress.
func (f Forecast) Says() string {
	var parts []string
	if r := f.Repeat; r != nil && !r.Begun {
		parts = append(parts, fmt.Sprintf("Repeat test: %d touches, about %s.", r.Touches, span(r.Time)))
	}
	if g := f.Gauging; g != nil {
		parts = append(parts, g.says())
	}
	if s := f.Survey; s != nil && !s.Begun {
		parts = append(parts, fmt.Sprintf("Survey: %s, about %s.", s.Says(), span(s.Time)))
	}
	if !f.Measured && len(parts) > 0 {
		parts = append(parts, "The repeat test measures the times. These are the usual ones.")
	}
	return strings.Join(parts, " ")
}

func (g GaugingAhead) says() string {
	var text string
	switch {
	case g.Left > 0 && g.Records > 0:
		text = fmt.Sprintf("Gauging: %d readings taken, %d to come, about %s", g.Records, g.Left, span(g.Time))
	case g.Left > 0:
		text = fmt.Sprintf("Gauging: %d readings, about %s", g.Left, span(g.Time))
	default:
		text = fmt.Sprintf("Gauging: %d readings taken", g.Records)
	}
	if g.Most > g.Records+g.Left {
		text += fmt.Sprintf(", up to %d where the nozzle error bends", g.Most)
	}
	text += "."
	if g.Now != nil {
		text += fmt.Sprintf(" The nozzle error is known to %s so far.", say.PM(*g.Now))
	}
	if g.First != "" {
		text += " " + g.First
	}
	if g.Left > 0 && g.Straight != nil {
		text += fmt.Sprintf(" With the survey a plain slope is then known to %s", say.PM(*g.Straight))
		if g.Bent != nil {
			text += fmt.Sprintf(", a bend to %s", say.PM(*g.Bent))
		}
		text += "."
	}
	return text
}

// span writes how long a step takes.
func span(d time.Duration) string { return say.Span(d.Seconds()) }

// needs is what the repeat test of a run says that a survey needs: the scatter of
// a touch and the drift within it, mm.
type needs struct {
	scatter, dof, drift float64
	measured            bool
}

func needsOf(run record.Run) (n needs) {
	n.scatter, n.dof, n.drift, n.measured = plan.Needs(run)
	return n
}

// forSurvey completes the survey by what the run has measured so far. Before
// anything is measured the usual scatter counts.
func (p Plan) forSurvey(run record.Run, needs needs) plan.SurveyPlan {
	n := plan.SurveyNeed{
		Area: run.Setup.Probed(), Zero: run.Setup.Zero, Scatter: usualScatter,
		Target: p.ProfileTarget, Finest: p.Finest, Columns: p.Columns, Rows: p.Rows, BaseEvery: p.BaseEvery,
	}
	if needs.measured {
		n.Scatter, n.DoF, n.Drift = needs.scatter, needs.dof, needs.drift
	}
	n.Even = !p.Chosen
	return plan.PlanSurvey(n)
}

// settled is the plan with a survey whose numbers are all there. Without a repeat
// test in the run nothing says how few touches would do: then it is the full one.
func (p Plan) settled(run record.Run) Plan {
	needs := needsOf(run)
	if p.Chosen && !needs.measured {
		full := DefaultPlan()
		for to, from := range map[*int]int{&p.Columns: full.Columns, &p.Rows: full.Rows, &p.BaseEvery: full.BaseEvery} {
			if *to <= 0 {
				*to = from
			}
		}
		return p
	}
	s := p.forSurvey(run, needs)
	p.Columns, p.Rows, p.BaseEvery = s.Columns, s.Rows, s.BaseEvery
	return p
}

// surveyColumns are the places along X of the survey.
func (p Plan) surveyColumns(r record.Rect) []float64 {
	if p.Chosen {
		return slices.Clone(plan.SurveyColumns(r.X0, r.X1, p.Columns))
	}
	return spread(r.X0, r.X1, p.Columns)
}
