package steady

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// Ride is whether the survey, with the passes over one row, tells of a carriage that
// rides another way each time.
type Ride struct {
	// Touches is how many touches of the survey were judged, Off how many lie off what
	// their row says of them beyond chance (4.5 robust standard deviations) and by most of
	// what may wander; Low of them lie below. Stray ones are not among them: they stand
	// alone, farther off than flats do.
	Touches int `json:"touches" about:"touches of the survey that were judged"`
	Off     int `json:"off" about:"of them off their neighbours"`
	Low     int `json:"low" about:"of those below"`
	Stray   int `json:"stray" about:"of them alone and far off, set aside"`
	// Wanders is the period of dips whose place does not stay from row to row, Stays that
	// of dips that do; nil where none stands out of chance.
	Wanders *Period `json:"wanders"`
	Stays   *Period `json:"stays"`
	// Suspect says that touches do not fit with each other beyond chance, and
	// that it is not proven whether the bed or the carriage does it.
	Suspect bool `json:"suspect" about:"touches do not fit with each other, for a reason that is not proven"`
	// Says is all of it in words; empty where nothing stands out.
	Says string `json:"says" about:"all of it in words"`

	worn bool
}

// Period is the period along X of dips that stand out of chance.
type Period struct {
	// Length of the period, mm, with its doubt; Depth of the dips, mm.
	Length result.Measured `json:"length"`
	Depth  float64         `json:"depth" about:"of the dips, mm"`
	// FalseAlarm is the odds of rows as these without such dips.
	FalseAlarm float64 `json:"false_alarm" about:"probability that chance alone gives it"`
	// Rows is how many rows and passes tell it.
	Rows int `json:"rows" about:"rows and passes that tell it"`
}

// Logarithms of the odds from which flats are told: against a bed whose marks stay, and
// against none. On sound machines of the tests, those whose probe strays and whose bed is
// rough among them, the largest of thousands was below 0 (TestRide).
const (
	provenFlats  = 5.0
	suspectFlats = 1.0
	suspectLow   = 3.0
	// inPasses is what a dip that one pass alone shows adds to them.
	inPasses = 2.0
	// worthOff is the share of what may wander from which a touch can be off, farOff from
	// how many times it is taken for a stray one where it stands alone.
	worthOff = 0.8
	farOff   = 5
	// enoughRows is how many rows of the survey tell of the ride; of more, every so many
	// are looked at.
	enoughRows = 15
)

// ride judges the passes and the rows of the survey against a smooth prediction.
func (s *Steadiness) ride(run record.Run) {
	c, least := run.Setup.Criteria, math.Max(s.StepU, 1e-4)
	var f flats
	if ps := rowPasses(run, *s); ps.told() {
		f.rows, _ = rode(ps.lines(), least)
	}
	r := &Ride{}
	defer func() { r.Says = r.says() }()
	if v := s.surveyRows(run); v != nil {
		rows, sigma := rode(v.lines(), least)
		for _, row := range rows {
			r.count(row, math.Max(4.5*sigma, worthOff*c.Wander), farOff*c.Wander)
		}
		f.rows, r.Touches = append(f.rows, rows...), len(v.Touches)
		s.Ride = r
	}
	if len(f.rows) == 0 {
		return
	}
	f.weigh(c)
	against := f.moves - math.Max(f.stays, 0)
	r.worn = against > provenFlats
	seen := 0.0
	if s.Wander != nil && s.Wander.Places > 0 {
		seen = inPasses
	}
	r.Suspect = !r.worn && (against > suspectFlats-seen || f.low > suspectLow-seen)
	if against > suspectFlats {
		r.Wanders = f.period(f.moves)
	} else if f.stays > provenFlats {
		r.Stays = f.period(f.stays)
	}
	if s.Wander != nil && r.worn {
		s.Wander.fired = true
	}
}

func (f *flats) period(odds float64) *Period {
	return &Period{Length: result.Of(f.length, f.lengthSD, math.Inf(1), "mm"), Depth: f.depth, FalseAlarm: math.Exp(-odds), Rows: len(f.rows)}
}

// count counts touches of a row that lie off: farther off than far those that stand alone
// are stray.
func (r *Ride) count(row ridden, limit, far float64) {
	for j, e := range row.e {
		switch {
		case math.Abs(e) <= limit*row.sd[j]/slices.Min(row.sd):
		case math.Abs(e) > far && !row.taken(j):
			r.Stray++
		case e < 0:
			r.Low++
			fallthrough
		default:
			r.Off++
		}
	}
}

// surveyRows is the survey on its grid, at most enoughRows of its rows; nil where it is
// none that could tell of the ride.
func (s *Steadiness) surveyRows(run record.Run) *Survey {
	ts := run.Of(record.SeriesSurvey)
	for i := range ts {
		ts[i].Z = s.Level(ts[i]) - s.base.at(ts[i].T)
	}
	v := &Survey{Touches: InTime(ts)}
	v.arrange()
	if len(v.columns) < 8 || len(v.rows) < 3 || len(ts) < 3*(len(v.columns)+len(v.rows)) {
		return nil
	}
	if every := (len(v.rows) + enoughRows - 1) / enoughRows; every > 1 {
		i := -1
		v.Touches = result.Keep(v.Touches, func(record.Touch) bool { i++; return v.row[i]%every == 0 })
		v.arrange()
	}
	return v
}

// lines are the survey's rows, from the smallest X.
func (v *Survey) lines() []line {
	all := make([][]record.Touch, len(v.rows))
	for i, t := range v.Touches {
		all[v.row[i]] = append(all[v.row[i]], t)
	}
	out := make([]line, len(all))
	for k, ts := range all {
		slices.SortStableFunc(ts, func(a, b record.Touch) int { return cmp.Compare(a.Place.U, b.Place.U) })
		for _, t := range ts {
			if n := len(out[k].x); n > 0 && t.Place.U-out[k].x[n-1] < dense {
				continue
			}
			out[k].x, out[k].e = append(out[k].x, t.Place.U), append(out[k].e, t.Z)
		}
	}
	return out
}

// says is the evidence in words, empty where there is none.
func (r Ride) says() string {
	var parts []string
	if r.Off > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d touches of the survey lie off their neighbours (%d of them below)", r.Off, r.Touches, r.Low))
	}
	if r.Stray > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d stand alone, far off: stray touches, set aside", r.Stray, r.Touches))
	}
	if r.Wanders != nil {
		parts = append(parts, "dips have "+r.Wanders.says()+"; their places do not stay from row to row")
	}
	if r.Stays != nil {
		parts = append(parts, "dips have "+r.Stays.says()+"; they stay at their places, as marks of beam or bed do")
	}
	if len(parts) == 0 {
		return ""
	}
	return say.Sentence(strings.Join(parts, "; "))
}

// says puts the period in words.
func (p Period) says() string {
	return fmt.Sprintf("a period of %.0f ±%.0f mm (false alarm %.1g), as of a wheel of %.0f mm", p.Length.Value, p.Length.U95(), p.FalseAlarm, p.Length.Value/math.Pi)
}
