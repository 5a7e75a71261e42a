package analysis_test

import (
	"math"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// answer is what a machine should be told: the first finding, others that must
// be there, and the code of the refusal ("" for a table).
type answer struct {
	name  string
	first string
	also  []string
	code  string
	m     machine
	p     plan
}

func answers() []answer {
	alongY, alongX, oblique := record.Lever{Y: 45}, record.Lever{X: 38}, record.Lever{X: -25, Y: -30}
	of := func(l record.Lever, gap, bed func(x, y float64) float64) machine {
		m := good()
		m.lever, m.gap, m.bed = l, shaped(gap), shaped(bed)
		return m
	}
	none := func(x, y float64) float64 { return 0 }
	wedge := func(x, y float64) float64 { return 0.16 * x }
	bow := func(x, y float64) float64 { return 0.1*x + 0.1*x*x }
	dish := func(x, y float64) float64 { return 0.2 * (x*x + y*y) }
	trough := func(x, y float64) float64 { return 0.3 * x * x }
	p := twenty()
	applied := of(alongY, wedge, none)
	gantry := of(alongY, func(x, y float64) float64 { return 0.05*x + 0.12*x*y }, none)
	gantry.layout = record.MovingGantry
	return []answer{
		{"square and steady", analysis.Healthy, nil, analysis.NotNeeded, of(record.Lever{X: -44, Y: -12}, none, none), p},
		{"flat map, wedge", analysis.BeamTwist, nil, "", of(alongY, wedge, func(x, y float64) float64 { return -0.16 * x }), p},
		{"twist", analysis.BeamTwist, nil, "", applied, p},
		{"bent twist", analysis.BeamTwist, nil, "", of(alongY, bow, none), p},
		{"twist hidden by a trough", analysis.BeamTwist, nil, "", of(alongY, func(x, y float64) float64 { return 0.1*x + 0.07*x*x }, func(x, y float64) float64 { return -0.1*x - 0.07*x*x }), p},
		{"twist on a dish", analysis.BeamTwist, []string{analysis.TrueShape}, "", of(alongY, wedge, dish), p},
		{"dish", analysis.TrueShape, []string{analysis.Healthy}, analysis.NotNeeded, of(alongY, none, dish), p},
		{"trough along X", analysis.TrueShape, []string{analysis.Healthy}, analysis.NotNeeded, of(alongY, none, trough), p},
		{"pitch or sag", analysis.BeamPitch, nil, "", of(alongX, bow, none), p},
		{"oblique lever", analysis.HeadTilt, nil, "", of(oblique, wedge, none), p},
		{"bed rolls unevenly", analysis.BedRoll, nil, "", gantry, p},
		{"bed pitches", analysis.BedPitch, nil, "", of(alongY, func(x, y float64) float64 { return 0.15 * y }, none), p},
		{"s under a lever along X", analysis.Undetermined, nil, "", of(alongX, func(x, y float64) float64 { return 0.15 * y }, none), p},
		{"too large", analysis.Repair, []string{analysis.BeamTwist}, "finding-repair", of(alongY, func(x, y float64) float64 { return 0.7 * x }, none), p},
		{"too steep", analysis.Repair, nil, "finding-repair", of(alongY, func(x, y float64) float64 { return 0.35 * x }, none), p},
		{"no lever", analysis.NoLever, nil, analysis.NotNeeded, of(record.Lever{}, none, dish), plan{reach: p.reach, area: p.area, zero: p.zero, cols: 25, rows: 7, repeat: true, survey: true}},
		{"no gauging", analysis.Undetermined, nil, analysis.NoGauging, of(alongY, bow, none), plan{reach: p.reach, area: p.area, zero: p.zero, cols: 25, rows: 7, repeat: true, survey: true}},
		{"no survey", analysis.BeamTwist, nil, analysis.NoSurvey, of(alongY, wedge, none), plan{reach: p.reach, area: p.area, zero: p.zero, places: p.places, repeat: true}},
		{"one row, five minutes", analysis.BeamTwist, []string{analysis.Undetermined}, analysis.NoSurvey, of(alongY, wedge, none), plan{reach: p.reach, area: p.area, zero: p.zero, places: append(grid(record.Rect{X0: 20, X1: 215, Y0: 132.5, Y1: 132.5}, 5, 1), p.zero), repeat: true}},
		{"two places only", analysis.Undetermined, nil, analysis.NoSurvey, of(alongY, wedge, none), plan{reach: p.reach, area: p.area, zero: p.zero, places: []record.Place{p.zero, p.zero, {U: 60, V: 132.5}}, repeat: true}},
		{"no repeat test", analysis.BeamTwist, []string{analysis.Undetermined}, "finding-undetermined", of(alongY, wedge, none), plan{reach: p.reach, area: p.area, zero: p.zero, places: p.places, cols: 25, rows: 7, survey: true}},
		{"nodes too far", analysis.BeamTwist, nil, analysis.NodeTooFar, of(alongY, wedge, none), plan{reach: p.reach, area: record.Rect{X0: -80, Y0: 50, X1: 215, Y1: 215}, zero: p.zero, places: p.places, cols: 25, rows: 7, repeat: true, survey: true}},
	}
}

func code(r *record.Problem) string {
	if r == nil {
		return ""
	}
	return r.Code
}

func TestAnswers(t *testing.T) {
	for _, a := range answers() {
		t.Run(a.name, func(t *testing.T) {
			first, codes, also := map[string]int{}, map[string]int{}, map[string]int{}
			var wrong analysis.Verdict
			n := max(*seeds*2, 10)
			for seed := range n {
				run := simulate(a.m, a.p, uint64(seed)+1)
				v := analysis.Judge(run)
				table, r := v.Table(run)
				first[v.Findings[0].ID]++
				codes[code(r)]++
				if v.Findings[0].ID != a.first {
					wrong = v
				}
				for _, id := range a.also {
					if v.Has(id) {
						also[id]++
					}
				}
				if r == nil {
					if e := tableError(a.m, a.p, table); e > 0.02 {
						t.Errorf("seed %d: table leaves %.3f mm rms", seed, e)
					}
				}
			}
			if first[a.first] < n*9/10 {
				t.Errorf("first findings %v of %d, want %s; one of the others: %+v", first, n, a.first, wrong.Findings)
			}
			for _, id := range a.also {
				if also[id] < n*9/10 {
					t.Errorf("%s is among the findings in %d of %d", id, also[id], n)
				}
			}
			if codes[a.code] < n*9/10 {
				t.Errorf("codes %v of %d, want %q", codes, n, a.code)
			}
		})
	}
}

// tableError is the rms of addition plus true gap error over the nodes inside
// the reach.
func tableError(m machine, p plan, table analysis.Table) float64 {
	ss, n := 0.0, 0.0
	for _, node := range table.Nodes {
		if p.reach.Grown(15).Has(node.Place) {
			e := float64(node.Add)/1000 + m.trueGap(node.Place, p.zero)
			ss, n = ss+e*e, n+1
		}
	}
	return math.Sqrt(ss / n)
}

// A table in force is subtracted: measured again, it needs no second one, and
// a map that was measured afresh under it is stale.
func TestAppliedTwice(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.16 * x })
	refused := 0
	for seed := range uint64(20) {
		run := simulate(m, twenty(), 2*seed+1)
		v := analysis.Judge(run)
		table, r := v.Table(run)
		if r != nil {
			t.Fatal(r)
		}
		again := simulate(m, twenty(), 2*seed+2)
		again.Setup.Applied = &record.Applied{Digest: table.Digest, Add: table.Adds(), Lever: table.Lever}
		unchanged := again.Clone()
		again.Map = &record.Map{Nodes: table.Afters()}
		if _, r := analysis.Judge(again).Table(again); code(r) == analysis.NotNeeded {
			refused++
		}
		if _, r := analysis.Judge(unchanged).Table(unchanged); code(r) != analysis.MapStale {
			t.Errorf("seed %d: a map without the table that is said to be in force: %q, want %q", seed, code(r), analysis.MapStale)
		}
	}
	if refused < 18 {
		t.Errorf("a second application was refused as not needed in %d of 20", refused)
	}
}

// A correction that is in a part of the map only is neither subtracted nor forgotten.
func TestAppliedInPart(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.16 * x })
	run := simulate(m, twenty(), 1)
	table, r := analysis.Judge(run).Table(run)
	if r != nil {
		t.Fatal(r)
	}
	again := simulate(m, twenty(), 2)
	again.Setup.Applied = &record.Applied{Digest: table.Digest, Before: table.Befores(), Add: table.Adds(), Lever: table.Lever}
	for row := range table.Rows {
		again.Map = &record.Map{Nodes: table.Afters()}
		again.Map.Nodes[row] = table.Befores()[row]
		if _, r := analysis.Judge(again).Table(again); code(r) != analysis.MapStale {
			t.Errorf("row %d without it: %q, want %q", row, code(r), analysis.MapStale)
		}
	}
}

// One node that the bed no longer has makes the map stale, and is named; a
// bowed bed between the survey's touches does not.
func TestStale(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.16 * x })
	m.bed = shaped(func(x, y float64) float64 { return 0.25*(x*x+y*y) + 0.05*math.Sin(4*x)*math.Cos(3*y) })
	for seed := range uint64(20) {
		run := simulate(m, twenty(), seed+1)
		if _, r := analysis.Judge(run).Table(run); r != nil {
			t.Errorf("seed %d: refused %+v", seed, r)
		}
		run.Map.Nodes[3][1] += 60
		_, r := analysis.Judge(run).Table(run)
		if code(r) != analysis.MapStale {
			t.Fatalf("seed %d: one node 0.06 mm off: %+v", seed, r)
		}
	}
}

// The limits refuse by themselves, each with its own code.
func TestLimits(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.16 * x })
	for name, c := range map[string]struct {
		change func(*record.Run)
		code   string
	}{
		"doubt":    {func(r *record.Run) { r.Setup.Criteria.DoubtShare = 0.01 }, analysis.TooUncertain},
		"area":     {func(r *record.Run) { r.Setup.MapArea = nil }, analysis.MapAreaUnknown},
		"no map":   {func(r *record.Run) { r.Map = nil }, analysis.MapStale},
		"one row":  {func(r *record.Run) { r.Map.Nodes = r.Map.Nodes[:1] }, analysis.MapStale},
		"tolerant": {func(r *record.Run) { r.Setup.Criteria.Tolerance = 0.3 }, analysis.NotNeeded},
		"steep beyond the gauged area": {func(r *record.Run) {
			r.Setup.Applied = &record.Applied{Add: [][]int64{{0}}}
		}, analysis.MapStale},
		"cut short": {func(r *record.Run) {
			r.Cut = &record.Cut{Finding: analysis.Repair, Code: "no-room", Text: "No room.", Next: "Repair."}
		}, "finding-repair"},
	} {
		run := simulate(m, twenty(), 1)
		c.change(&run)
		_, r := analysis.Judge(run).Table(run)
		if code(r) != c.code {
			t.Errorf("%s: %+v, want code %q", name, r, c.code)
		}
	}
}

// The digest is over whole micrometres: the same for the same table, another
// for each part that differs.
func TestDigest(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.16 * x })
	run := simulate(m, twenty(), 1)
	table, r := analysis.Judge(run).Table(run)
	if r != nil {
		t.Fatal(r)
	}
	if again, _ := analysis.Judge(run).Table(run); again.Digest != table.Digest || table.Sum() != table.Digest {
		t.Error("the digest is not a function of the table")
	}
	seen := map[string]string{table.Digest: "itself"}
	for name, change := range map[string]func(*analysis.Table){
		"printer": func(t *analysis.Table) { t.Printer = "other" },
		"lever":   func(t *analysis.Table) { t.Lever.X += 0.001 },
		"area":    func(t *analysis.Table) { t.Area.X1 += 0.001 },
		"before":  func(t *analysis.Table) { t.Nodes[3].Before++ },
		"add":     func(t *analysis.Table) { t.Nodes[3].Add++ },
		"parent":  func(t *analysis.Table) { t.Parent = "x" },
	} {
		other := table
		other.Nodes = append([]analysis.Node(nil), table.Nodes...)
		change(&other)
		if was, there := seen[other.Sum()]; there {
			t.Errorf("%s: the same digest as %s", name, was)
		}
		seen[other.Sum()] = name
	}
	other := table
	other.LargestU95++
	other.Lever.X += 1e-9
	if other.Sum() != table.Digest {
		t.Error("the digest depends on the last bits of a float")
	}
}

// A check without gauging says what it does tell: that the machine repeats itself, if
// it does.
func TestCheckWithoutGauging(t *testing.T) {
	p := standard()
	p.places = nil
	for _, c := range []struct {
		name   string
		steps  []record.Step
		repeat bool
		begins string
	}{
		{"repeats itself", []record.Step{record.StepRepeat, record.StepSurvey}, true, "The printer repeats itself."},
		{"nobody knows", []record.Step{record.StepSurvey}, false, "The bed map alone does not show whether bed or beam is bent."},
		{"gauging to come", []record.Step{record.StepRepeat, record.StepGauging, record.StepSurvey}, true, "The bed map alone does not show whether bed or beam is bent."},
	} {
		p.repeat = c.repeat
		run := simulate(good(), p, 1)
		run.Steps = c.steps
		if v := analysis.Judge(run); v.Findings[0].ID != analysis.Undetermined || !strings.HasPrefix(v.Findings[0].Sentence, c.begins) {
			t.Errorf("%s: %+v", c.name, v.Findings[0])
		}
	}
}
