package run

import (
	"math"

	"abbed/daemon/api"
	"abbed/probe"
)

// forecast turns what is ahead of a run into the API's words; nil where the run has
// no step that can be foretold.
func forecast(f probe.Forecast) *api.Forecast {
	if f.Repeat == nil && f.Gauging == nil && f.Survey == nil {
		return nil
	}
	out := &api.Forecast{
		Measured: f.Measured, Scatter: f.Scatter, Touch: f.Touch.Seconds(), Record: f.Record.Seconds(),
		Left: f.Left.Seconds(), Says: f.Says(),
	}
	if r := f.Repeat; r != nil {
		out.Repeat = &api.RepeatForecast{Touches: r.Touches, Time: r.Time.Seconds()}
	}
	if g := f.Gauging; g != nil {
		out.Gauging = &api.GaugeForecast{
			Records: g.Records, Left: g.Left, Time: g.Time.Seconds(), Now: g.Now, Straight: g.Straight, Bent: g.Bent, Target: g.Target,
		}
		if g.Most > 0 {
			out.Gauging.Most = &g.Most
		}
	}
	if s := f.Survey; s != nil {
		out.Survey = &api.SurveyForecast{
			Columns: s.Columns, Rows: s.Rows, Repeats: s.Repeats, BaseEvery: s.BaseEvery, Touches: s.Touches,
			Time: s.Time.Seconds(), Target: s.Target, Chosen: s.Chosen,
		}
		if u := s.U95; !math.IsInf(u, 0) && !math.IsNaN(u) {
			out.Survey.U95 = &u
		}
	}
	return out
}
