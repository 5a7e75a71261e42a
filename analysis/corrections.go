package analysis

import (
	"fmt"
	"math"
	"strings"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Table returns the correction that the verdict supports for the run's own
// nodes, or why there is none.
func (v Verdict) Table(run record.Run) (result.Table, *record.Problem) {
	return v.table(steady.Clean(run))
}

// table builds the correction by the table rules of design/2. The order in
// which it refuses: a gate or another finding that forbids it; nothing needed;
// what was not measured; the map; the nodes; the limits.
func (v Verdict) table(run record.Run) (result.Table, *record.Problem) {
	if r := v.forbidden(run); r != nil {
		return result.Table{}, r
	}
	if r := v.unready(run); r != nil {
		return result.Table{}, r
	}
	t, total, r := v.nodes(run)
	if r != nil {
		return result.Table{}, r
	}
	if r := v.limits(run, t, total); r != nil {
		return result.Table{}, r
	}
	t.Digest = t.Sum()
	return t, nil
}

// forbidden refuses for a finding, and where nothing is needed.
func (v Verdict) forbidden(run record.Run) *record.Problem {
	if f, failed := v.Stability.Failed(); failed {
		return finding(f)
	}
	if (run.Cut != nil || cutLater(run) != nil) && len(v.Findings) > 0 {
		return finding(v.Findings[0])
	}
	if run.Setup.NoLever() {
		return &record.Problem{Code: result.NotNeeded, Text: "The probe is the nozzle: there is no nozzle error to correct.", Hint: "Nothing is to be done."}
	}
	return nil
}

func finding(f result.Finding) *record.Problem {
	return &record.Problem{Code: result.FindingPrefix + f.ID, Text: f.Sentence, Hint: f.Next}
}

// unready refuses where something was not measured.
func (v Verdict) unready(run record.Run) *record.Problem {
	switch {
	case v.GapWhy != nil && v.GapWhy.Code == "no-gauging":
		return &record.Problem{Code: result.NoGauging, Text: "No point was gauged: a bed map alone cannot tell the bed from the beam.", Hint: "Run the gauging, or print patches over the whole bed and give their thickness."}
	case v.facts == nil:
		return &record.Problem{Code: result.NoGauging, Text: "This verdict was read back without its fit.", Hint: "Judge the run again."}
	case v.facts.survey == nil:
		return &record.Problem{Code: result.NoSurvey, Text: "There is no survey, so that the bed map could not be checked.", Hint: "Run the step survey, in the same run as the gauging."}
	case v.Gap == nil:
		return &record.Problem{Code: result.FindingPrefix + result.Undetermined, Text: "The nozzle error is not known. " + say.Sentence(v.GapWhy.Text), Hint: say.Sentence(v.GapWhy.Hint)}
	case v.Has(result.Repair):
		for _, f := range v.Findings {
			if f.ID == result.Repair {
				return finding(f)
			}
		}
	case v.otherwise() != nil:
		return &record.Problem{Code: result.FindingPrefix + result.Undetermined, Text: otherwiseSays, Hint: otherwiseNext}
	case !v.facts.steady.Tested || v.facts.steady.Wander == nil:
		return &record.Problem{Code: result.FindingPrefix + result.Undetermined, Text: "The repeat test is missing, so it is not known whether the printer repeats itself.", Hint: "Measure again, with all steps."}
	case v.Stability.Ride != nil && v.Stability.Ride.Suspect:
		return &record.Problem{Code: result.FindingPrefix + result.Undetermined, Text: "Touches do not fit each other: the printer may not repeat itself. " + v.Stability.Ride.Says, Hint: "Look at bed, wheels and rails, then measure again."}
	}
	tolerance := run.Setup.Criteria.Tolerance
	if x := v.Gap.Largest(); run.Setup.Applied == nil && math.Abs(x.Gap)+x.U95 <= tolerance {
		return &record.Problem{Code: result.NotNeeded, Text: fmt.Sprintf("The nozzle error is within %s everywhere.", say.MM(tolerance)), Hint: "Leave the bed map as it is."}
	}
	if run.Map == nil {
		return &record.Problem{Code: result.MapStale, Text: "This run could not read the bed map.", Hint: "Let the printer measure its bed map, then measure again."}
	}
	columns, rows := run.Map.Size()
	if run.Setup.MapArea == nil {
		return &record.Problem{Code: result.MapAreaUnknown, Text: "The printer does not say which area its bed map covers.", Hint: "Set the map area: first and last column and row in mm (--map-area X0,Y0,X1,Y1)."}
	}
	if columns < 2 || rows < 2 || ragged(run.Map.Nodes) {
		return &record.Problem{Code: result.MapStale, Text: "The bed map has fewer than two columns or rows.", Hint: "Let the printer measure its bed map again."}
	}
	if a := run.Setup.Applied; a != nil && (!record.SameSize(a.Add, run.Map.Nodes) || a.In(run.Map.Nodes).Whole != record.Everywhere) {
		return &record.Problem{Code: result.MapStale, Text: "Part of the bed map may hold a correction, and part not.", Hint: "Let the printer measure its bed map, then measure again."}
	}
	return nil
}

func ragged(nodes [][]int64) bool {
	for _, r := range nodes {
		if len(r) != len(nodes[0]) {
			return true
		}
	}
	return false
}

// nodes fills the table; total is the correction in force once it is applied,
// um, rows along J.
func (v Verdict) nodes(run record.Run) (result.Table, [][]int64, *record.Problem) {
	columns, rows := run.Map.Size()
	area := *run.Setup.MapArea
	if r := v.stale(run, columns, rows); r != nil {
		return result.Table{}, nil, r
	}
	t := result.Table{Printer: run.Setup.Printer.ID, Columns: columns, Rows: rows, Area: area, Lever: run.Setup.Lever}
	if a := run.Setup.Applied; a != nil {
		t.Parent = a.Digest
	}
	total := make([][]int64, rows)
	var far []string
	for j := range rows {
		for i := range columns {
			n := result.Node{I: i, J: j, Place: record.NodePlace(area, columns, rows, i, j), Before: run.Map.Nodes[j][i]}
			n.Doubtful = v.Model.doubtfulAt(n.Place)
			gap, u95, d := v.Gap.Beyond(n.Place)
			if d > run.Setup.Criteria.NodeReach {
				far = append(far, fmt.Sprintf("column %d, row %d by %s", i, j, say.Far(math.Round(d))))
			}
			want := int64(math.Round(-gap * 1000))
			total[j] = append(total[j], want)
			n.Add, n.U95 = want, int64(math.Ceil(u95*1000))
			if a := run.Setup.Applied; a != nil {
				n.Add -= a.Add[j][i]
			}
			t.Nodes = append(t.Nodes, n)
			t.LargestU95 = math.Max(t.LargestU95, float64(n.U95)/1000)
		}
	}
	if r := v.offTheLine(t); r != nil {
		return result.Table{}, nil, r
	}
	if len(far) > 0 {
		return result.Table{}, nil, &record.Problem{Code: result.NodeTooFar, Text: fmt.Sprintf("The bed map reaches more than %s beyond the readings: %s.", say.Far(run.Setup.Criteria.NodeReach), list(far)),
			Hint: "Gauge nearer to the edge, or make the bed map smaller."}
	}
	t.Largest, t.Steepest = Extremes(total, area)
	return t, total, nil
}

// offTheLine refuses where one line of places only was gauged, and nodes lie beside it
// by more than the margin: what the gap error does across the line no record tells (a Y
// axis that rolls or is not straight), and a doubt that grows with the distance would be
// a guess about a machine that nobody looked at.
func (v Verdict) offTheLine(t result.Table) *record.Problem {
	d := 0.0
	for _, n := range t.Nodes {
		d = math.Max(d, v.Gap.across(n.Place))
	}
	if d <= v.Gap.Margin {
		return nil
	}
	return &record.Problem{Code: result.NodeTooFar, Text: fmt.Sprintf("You gauged one row only. The bed map reaches %s beside it.", say.Far(math.Round(d))),
		Hint: "Gauge a second row."}
}

// Extremes returns the largest |correction|, mm, and the steepest slope
// between neighbouring nodes, mm per mm.
func Extremes(total [][]int64, area record.Rect) (largest, steepest float64) {
	rows, columns := len(total), len(total[0])
	du, dv := area.W()/float64(columns-1), area.H()/float64(rows-1)
	for j, row := range total {
		for i, v := range row {
			largest = math.Max(largest, math.Abs(float64(v))/1000)
			if i > 0 {
				steepest = math.Max(steepest, math.Abs(float64(v-row[i-1]))/1000/du)
			}
			if j > 0 {
				steepest = math.Max(steepest, math.Abs(float64(v-total[j-1][i]))/1000/dv)
			}
		}
	}
	return largest, steepest
}

// limits refuses what is not worth it, or beyond the limits.
func (v Verdict) limits(run record.Run, t result.Table, total [][]int64) *record.Problem {
	c := run.Setup.Criteria
	if run.Setup.Applied != nil && v.withinDoubt(t, c) {
		return &record.Problem{Code: result.NotNeeded, Text: "The correction in force still fits.", Hint: "Leave it in force."}
	}
	const half = 0.0005 // um are whole
	switch {
	case t.Largest > c.Largest+half:
		return &record.Problem{Code: result.TooLarge, Text: fmt.Sprintf("The correction would reach %s, more than the limit of %s.", say.MM(t.Largest), say.MM(c.Largest)), Hint: "Repair the printer first."}
	case t.Steepest > c.Steepest+half/10:
		return &record.Problem{Code: result.TooSteep, Text: fmt.Sprintf("The correction would change by %s per 100 mm, more than the limit of %s.", say.MM(100*t.Steepest), say.MM(100*c.Steepest)), Hint: "Repair the printer first."}
	case t.LargestU95 > c.DoubtShare*t.Largest:
		return &record.Problem{Code: result.TooUncertain, Text: fmt.Sprintf("The correction is known to %s only, and its largest value is %s.", say.PM(t.LargestU95), say.MM(t.Largest)),
			Hint: "Gauge more points near the edges, or the same points once more."}
	}
	return nil
}

// withinDoubt says whether every addition on top of the correction in force
// is what two runs may differ by: sqrt 2 times its half width, or within the
// tolerance together with it.
func (v Verdict) withinDoubt(t result.Table, c record.Criteria) bool {
	for _, n := range t.Nodes {
		a, u := math.Abs(float64(n.Add))/1000, float64(n.U95)/1000
		if a > math.Sqrt2*u && a+u > c.Tolerance {
			return false
		}
	}
	return true
}

// stale compares the stored map, less the correction in force, with the survey
// at the nodes that both reach, a constant taken out by its median. A
// difference beyond four standard uncertainties and MapDiffers is named.
func (v Verdict) stale(run record.Run, columns, rows int) *record.Problem {
	sv, s := v.facts.survey, v.facts.steady
	reach := sv.Bound().Grown(2)
	type diff struct {
		i, j int
		d, u float64
	}
	var ds []diff
	var all []float64
	for j := range rows {
		for i := range columns {
			p := record.NodePlace(*run.Setup.MapArea, columns, rows, i, j)
			if !reach.Has(p) {
				continue
			}
			z, u, ok := sv.Near(p, s.Sigma)
			if !ok {
				continue
			}
			stored := run.Map.Nodes[j][i]
			if a := run.Setup.Applied; a != nil {
				stored -= a.Add[j][i]
			}
			// The stored node is one touch of the printer's own.
			u = math.Sqrt(u*u + s.Sigma*s.Sigma + s.StepU*s.StepU + s.BaseLeft*s.BaseLeft)
			ds = append(ds, diff{i, j, float64(stored)/1000 - z, u})
			all = append(all, float64(stored)/1000-z)
		}
	}
	if len(ds) == 0 {
		return &record.Problem{Code: result.MapStale, Text: "The survey does not reach the bed map.", Hint: "Check the map area, then measure again."}
	}
	m := fit.Median(all)
	var named []string
	for _, d := range ds {
		if off := d.d - m; math.Abs(off) > math.Max(4*d.u, run.Setup.Criteria.MapDiffers) {
			named = append(named, fmt.Sprintf("column %d, row %d by %s", d.i, d.j, say.MM(math.Abs(off))))
		}
	}
	if len(named) > 0 {
		return &record.Problem{Code: result.MapStale, Text: fmt.Sprintf("The bed map is not what the survey found: %s.", list(named)), Hint: "Let the printer measure its bed map, then measure again. If the bed map is new, the setting map_area is wrong."}
	}
	return nil
}

// list joins the first six.
func list(s []string) string {
	if len(s) > 6 {
		return strings.Join(s[:6], ", ") + fmt.Sprintf(" and %d more", len(s)-6)
	}
	return strings.Join(s, ", ")
}
