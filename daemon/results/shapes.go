package results

import (
	"math"
	"slices"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/probe"
	"abbed/probe/record"
)

// Analysis turns a verdict into the API's words.
func Analysis(run record.Run, v analysis.Verdict) api.Analysis {
	out := api.Analysis{
		Stability: stability(v.Stability), Profile: profile(v.Profile), Share: measured(v.Share), ShareWhy: v.ShareWhy,
		Level: measured(v.Level), Findings: append([]api.Finding{}, v.Findings...),
	}
	if v.Profile != nil {
		out.Stability.SetAside = append(out.Stability.SetAside, setAside(v.Profile.Outliers)...)
	}
	if len(v.Model.Motions) > 0 {
		out.Model = model(v.Model, run)
	}
	out.Wedge = wedge(run, v)
	if v.Gap != nil {
		out.Largest = largest(v, run)
	}
	for _, t := range v.Tells {
		by := append([]string{}, t.By...)
		t.By = by
		out.Tells = append(out.Tells, t)
	}
	out.More, out.Later = more(run, v), v.Later
	return out
}

// more says where one more record at the blade would help most.
func more(run record.Run, v analysis.Verdict) *api.More {
	a, ok := v.More(run)
	if !ok || run.For != "" { // the earlier run says what it still wants
		return nil
	}
	out := &api.More{U: a.Place.U, V: a.Place.V, Again: a.Again, Why: a.Why}
	if a.Told {
		now, after := finite(a.Now), finite(a.After)
		out.Now, out.After = &now, &after
	}
	left, takes := (&probe.Earlier{Run: run, Wanted: a}).Ahead()
	out.Left, out.Time = left, takes.Seconds()
	return out
}

func measured(m *analysis.Measured) *api.Measured {
	if m == nil || math.IsNaN(m.Value) || math.IsNaN(m.U) {
		return nil
	}
	out := *m
	out.Value, out.U, out.Lo95, out.Hi95 = finite(m.Value), finite(m.U), finite(m.Lo95), finite(m.Hi95)
	return &out
}

func stability(s analysis.Stability) api.Stability {
	out := api.Stability{
		Scatter: measured(s.Scatter), FirstTouch: measured(s.First), PlayX: measured(s.PlayX), PlayY: measured(s.PlayY), Steady: true,
	}
	if s.Drift != nil {
		out.DriftRate, out.DriftModel = measured(s.Drift.Rate), s.Drift.Kind
	}
	if s.Wander != nil {
		out.Wander = measured(s.Wander.Between)
	}
	out.Ride = s.Ride
	out.SetAside = setAside(s.Outliers, s.Strays)
	if f, failed := s.Failed(); failed {
		out.Steady, out.Failed = false, f.ID
	}
	if s.Touches == 0 {
		out.Steady = false // not measured is not steady
	}
	return out
}

// setAside lists touches that were set aside.
func setAside(lists ...[]analysis.Odd) []api.Outlier {
	out := []api.Outlier{}
	for _, o := range slices.Concat(lists...) {
		out = append(out, api.Outlier{Event: o.N, U: o.Place.U, V: o.Place.V, Off: finite(o.Off)})
	}
	return out
}

func profile(p *analysis.Profile) *api.Profile {
	if p == nil {
		return nil
	}
	out := &api.Profile{Unit: "mm", Repeats: finite(1 - p.Interaction)}
	for _, c := range p.Columns {
		out.X = append(out.X, finite(c.At))
		out.Effect = append(out.Effect, finite(c.Effect))
		out.U = append(out.U, finite(c.U))
		out.Front = append(out.Front, finite(c.Front))
		out.Back = append(out.Back, finite(c.Back))
	}
	return out
}

func model(m analysis.Model, _ record.Run) *api.Model {
	out := &api.Model{Terms: []api.Term{}, Outliers: []api.Outlier{}, Scatter: measured(m.PureError)}
	for _, c := range m.Motions {
		if at := measured(&c.Measured); at != nil {
			out.Terms = append(out.Terms, api.Term{Name: c.Says, At: *at})
		}
	}
	if l := m.LackOfFit; l != nil && !math.IsNaN(l.F) && !math.IsInf(l.F, 0) {
		f, p := l.F, finite(l.P)
		out.LackOfFitF, out.LackOfFitP = &f, &p
	}
	for _, o := range m.Outliers {
		w := 0.0
		if o.Used {
			w = 1
		}
		out.Outliers = append(out.Outliers, api.Outlier{Event: o.N, U: o.Place.U, V: o.Place.V, Off: finite(o.Off), Weight: w})
	}
	return out
}

// largest is the largest gap error at the gauged places and the corners of the
// gauged area, with its sign.
func largest(v analysis.Verdict, run record.Run) *api.Measured {
	a := v.Gap.Area
	places := []record.Place{{U: a.X0, V: a.Y0}, {U: a.X1, V: a.Y0}, {U: a.X0, V: a.Y1}, {U: a.X1, V: a.Y1}}
	for _, g := range run.Gaugings {
		places = append(places, g.Place)
	}
	for _, j := range run.Joined {
		for _, g := range j.Gaps {
			places = append(places, g.Place)
		}
	}
	var out *api.Measured
	for _, p := range places {
		g, u95, reason := v.Gap.At(p)
		if reason != nil || math.IsNaN(g) || out != nil && math.Abs(g) <= math.Abs(out.Value) {
			continue
		}
		out = &api.Measured{Value: g, U: u95 / 2, Lo95: g - u95, Hi95: g + u95, Unit: "mm", DoF: math.Inf(1)}
	}
	return out
}

// finite keeps a number that JSON can say.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
