package analysis_test

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"abbed/analysis"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// anyFloat draws numbers as they come from wires and files: sane, round,
// huge, and none at all.
func anyFloat(t *rapid.T, name string) float64 {
	switch rapid.IntRange(0, 9).Draw(t, name+" kind") {
	case 0:
		return rapid.SampledFrom([]float64{0, 1, -1, 100, 1e9, -1e300, math.Inf(1), math.NaN(), 1e-300}).Draw(t, name)
	default:
		return rapid.Float64Range(-1, 250).Draw(t, name)
	}
}

func anyPlace(t *rapid.T) record.Place {
	if rapid.Bool().Draw(t, "grid") {
		return record.Place{U: float64(rapid.IntRange(0, 6).Draw(t, "i")) * 30, V: float64(rapid.IntRange(0, 4).Draw(t, "j")) * 40}
	}
	return record.Place{U: anyFloat(t, "u"), V: anyFloat(t, "v")}
}

func anyRun(t *rapid.T) record.Run {
	var r record.Run
	r.Setup.Criteria = record.DefaultCriteria()
	if rapid.IntRange(0, 9).Draw(t, "criteria") == 0 {
		r.Setup.Criteria = record.Criteria{Tolerance: anyFloat(t, "tol"), GaugedMargin: anyFloat(t, "margin"), GaugeScatter: anyFloat(t, "gs"), Largest: anyFloat(t, "largest")}
	}
	r.Setup.Lever = record.Lever{X: anyFloat(t, "lx"), Y: anyFloat(t, "ly")}
	r.Setup.Zero = anyPlace(t)
	r.Setup.ReportStep = anyFloat(t, "step") / 1000
	r.Setup.Reach = record.Rect{X0: anyFloat(t, "x0"), Y0: 0, X1: anyFloat(t, "x1"), Y1: 200}
	if rapid.Bool().Draw(t, "area") {
		r.Setup.MapArea = &record.Rect{X0: anyFloat(t, "ax"), X1: 180, Y1: anyFloat(t, "ay")}
	}
	series := []record.Series{record.SeriesRepeat, record.SeriesRow, record.SeriesPair, record.SeriesSurvey, record.SeriesBase, record.SeriesGiven, "strange"}
	n := rapid.IntRange(0, 120).Draw(t, "touches")
	common := rapid.SampledFrom(series).Draw(t, "common")
	for i := range n {
		s := common
		if rapid.IntRange(0, 2).Draw(t, "other") == 0 {
			s = rapid.SampledFrom(series).Draw(t, "series")
		}
		r.Touches = append(r.Touches, record.Touch{N: int64(i), T: anyFloat(t, "t") * float64(i%5), Place: anyPlace(t), Z: anyFloat(t, "z") / 1000, Series: s,
			Side: record.Side{X: int8(rapid.IntRange(-1, 1).Draw(t, "sx")), Y: int8(rapid.IntRange(-2, 2).Draw(t, "sy"))},
			Pass: rapid.IntRange(-1, 3).Draw(t, "pass"), Spot: rapid.IntRange(-1, 4).Draw(t, "spot")})
	}
	for i := range rapid.IntRange(0, 14).Draw(t, "gaugings") {
		g := record.Gauging{N: int64(500 + i), T: anyFloat(t, "gt"), Spot: rapid.IntRange(-1, 4).Draw(t, "gspot"), Visit: 0, Place: anyPlace(t), Z: anyFloat(t, "gz") / 100, Blade: 0.1}
		r.Gaugings = append(r.Gaugings, g)
		if rapid.IntRange(0, 3).Draw(t, "paired") > 0 {
			r.Touches = append(r.Touches, record.Touch{N: int64(600 + i), T: g.T - 1, Place: g.Place, Z: g.Z - 0.1, Series: record.SeriesPair, Pass: 0, Spot: g.Spot})
		}
	}
	if rapid.Bool().Draw(t, "map") {
		r.Map = &record.Map{}
		for range rapid.IntRange(0, 4).Draw(t, "rows") {
			r.Map.Nodes = append(r.Map.Nodes, rapid.SliceOfN(rapid.Int64Range(-2000, 2000), 0, 4).Draw(t, "nodes"))
		}
	}
	if rapid.IntRange(0, 4).Draw(t, "applied") == 0 {
		r.Setup.Applied = &record.Applied{Digest: "x", Add: [][]int64{{1, 2}, {3, 4}}}
	}
	if rapid.IntRange(0, 5).Draw(t, "cut") == 0 {
		r.Cut = &record.Cut{Finding: rapid.SampledFrom([]string{analysis.Repair, analysis.Undetermined, "?"}).Draw(t, "cut finding"), Text: "cut"}
	}
	for range max(0, rapid.IntRange(-2, 3).Draw(t, "later runs")) {
		r.Joined = append(r.Joined, anyJoined(t))
	}
	return r
}

// anyJoined are the gaugings of a later run, as a file may hold them.
func anyJoined(t *rapid.T) record.Joined {
	j := record.Joined{Run: rapid.SampledFrom([]string{"", "a", "b", "c"}).Draw(t, "later")}
	for range rapid.IntRange(0, 6).Draw(t, "gaps") {
		j.Gaps = append(j.Gaps, record.GapReading{Place: anyPlace(t), G: anyFloat(t, "later g") / 100, U: anyFloat(t, "later u") / 1000})
	}
	if rapid.Bool().Draw(t, "warm") {
		j.Warmth = &record.Warmth{Nozzle: anyFloat(t, "nozzle"), Bed: anyFloat(t, "bed")}
	}
	if rapid.IntRange(0, 9).Draw(t, "later cut") == 0 {
		j.Cut = &record.Cut{Finding: analysis.Repair, Text: "cut"}
	}
	return j
}

// Whatever the run, there is a verdict: no panic, at least one finding, every
// number finite, the same twice.
func TestJudgeAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		run := anyRun(t)
		v := analysis.Judge(run)
		if len(v.Findings) == 0 {
			t.Fatal("no finding")
		}
		for _, f := range v.Findings {
			if f.Sentence == "" || f.Next == "" && run.Cut == nil && !slices.ContainsFunc(run.Joined, func(j record.Joined) bool { return j.Cut != nil }) {
				t.Fatalf("a finding without sentence or next step: %+v", f)
			}
			if strings.Contains(f.Sentence+f.Evidence+f.Doubt, "NaN") || strings.Contains(f.Evidence, "Inf") {
				t.Fatalf("%+v", f)
			}
		}
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatalf("the verdict is no JSON: %v", err)
		}
		table, refused := v.Table(run)
		if (refused == nil) == (table.Digest == "") {
			t.Fatalf("table %q and refusal %v", table.Digest, refused)
		}
		if v.Gap == nil && v.GapWhy == nil {
			t.Fatal("no gap and no reason")
		}
		if v.Gap != nil {
			g, u, _ := v.Gap.At(run.Setup.Zero)
			if math.IsNaN(g) || math.IsNaN(u) || u < 0 {
				t.Fatalf("gap at the zero place %g, u95 %g", g, u)
			}
		}
		again, _ := json.Marshal(analysis.Judge(run))
		if string(again) != string(b) {
			t.Fatal("not the same twice")
		}
		for _, g := range analysis.Joining(run).Gaps {
			if math.IsNaN(g.G) || !(g.U > 0) || math.IsInf(g.U, 0) {
				t.Fatalf("%+v", g)
			}
		}
		for _, p := range steady.Pairs(run) {
			if math.IsNaN(p.G) || math.IsNaN(p.U) {
				t.Fatalf("%+v", p)
			}
		}
	})
}

// A good run cut anywhere keeps its analysis, and judging does not change it.
func TestJudgePartial(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.15 * x })
	whole := simulate(m, standard(), 3)
	before := whole.Clone()
	for n := 0; n <= len(whole.Touches); n += 13 {
		run := whole.Clone()
		run.Touches = run.Touches[:n]
		last := int64(0)
		if n > 0 {
			last = run.Touches[n-1].N
		}
		run.Gaugings = nil
		for _, g := range whole.Gaugings {
			if g.N <= last {
				run.Gaugings = append(run.Gaugings, g)
			}
		}
		run.Ended = &record.Ended{State: record.EndStopped}
		v := analysis.Judge(run)
		if len(v.Findings) == 0 {
			t.Fatalf("%d touches: no finding", n)
		}
		if v.Has(analysis.Healthy) {
			t.Errorf("%d touches of a twisted machine: healthy", n)
		}
		v.Table(run)
	}
	if !reflect.DeepEqual(before, whole) {
		t.Error("judging changed the run")
	}
}

// A measured value survives JSON, infinite degrees of freedom as null.
func TestMeasuredJSON(t *testing.T) {
	for _, m := range []analysis.Measured{
		{Value: 1, U: 0.1, Lo95: 0.8, Hi95: 1.2, Unit: "mm", DoF: 12},
		{Value: 1, U: 0.1, Lo95: 0.8, Hi95: 1.2, Unit: "mm", DoF: math.Inf(1)},
	} {
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if math.IsInf(m.DoF, 1) && !strings.Contains(string(b), `"dof":null`) {
			t.Errorf("%s: infinite degrees of freedom are null in JSON", b)
		}
		var back analysis.Measured
		if err := json.Unmarshal(b, &back); err != nil || back != m {
			t.Errorf("%s came back as %+v, %v", b, back, err)
		}
	}
}
