package analysis

import (
	"cmp"
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Model is what the posterior (package model) says beside the gap error: what each
// error motion makes of it, and how well the readings fit. Empty where nothing was
// fitted.
type Model struct {
	// Motions are the parts of the gap error, the dearest first.
	Motions []MotionPart `json:"motions"`
	// Hand is the scatter of one gauging as it came out, mm.
	Hand float64 `json:"hand"`
	// Drift is how far the gap error itself moved from the first record to the last; nil
	// where no place was gauged at far apart times.
	Drift *result.Measured `json:"drift"`
	// LackOfFit tests the posterior against the scatter of repeats.
	LackOfFit *LackOfFit `json:"lack_of_fit"`
	// PureError is the standard deviation of one gauging, from repeats at one
	// place.
	PureError *result.Measured `json:"pure_error"`
	// Residuals of every gauging.
	Residuals []Residual `json:"residuals"`
	// Outliers are gaugings that do not fit with their fellows.
	Outliers []steady.Odd `json:"outliers"`
}

// MotionPart is what one motion makes of the gap error where it makes most.
type MotionPart struct {
	// Motion is its name in ISO 230-1, Says is it in words.
	Motion string       `json:"motion"`
	Says   string       `json:"says"`
	Place  record.Place `json:"place"`
	result.Measured
}

// motionSays are the motions in words.
var motionSays = [...]string{
	model.EAX:  "roll of the head along X",
	model.EBX:  "pitch of the head along X",
	model.EZX:  "straightness of the beam",
	model.EZY:  "straightness of the Y axis",
	model.EAY:  "pitch of the Y axis",
	model.EBY:  "roll of the Y axis",
	model.Give: "what no rigid motion makes",
}

// LackOfFit is the F test of the deviations of place means from the posterior
// against the scatter of repeats.
type LackOfFit struct {
	F   float64 `json:"f"`
	DF1 float64 `json:"df1"`
	DF2 float64 `json:"df2"`
	P   float64 `json:"p"`
}

// Residual is what the posterior leaves of one gauging, mm.
type Residual struct {
	N        int64        `json:"n"`
	Place    record.Place `json:"place"`
	Gap      float64      `json:"gap"`
	Fitted   float64      `json:"fitted"`
	Residual float64      `json:"residual"`
	Outlier  bool         `json:"outlier"`
	// Doubted says that it does not fit with the others.
	Doubted bool `json:"doubted,omitempty"`
}

// motions says what each motion makes where it makes most, over the gauged area.
func (g *gauged) motions() {
	zero := g.surface.row(g.run.Setup.Zero)
	g.model.Hand = g.surface.post.Hand()
	if b, variance, _ := g.surface.post.Drift(); variance > 0 {
		m := result.Of(2*b, 2*math.Sqrt(variance), math.Inf(1), "mm")
		g.model.Drift = &m
	}
	for of := range motionSays {
		part := MotionPart{Motion: model.Motion(of).String(), Says: motionSays[of]}
		for _, p := range Lattice(g.area(), 5, 5) {
			r := g.surface.row(p).Minus(zero).Of(func(m model.Motion) bool { return m == model.Motion(of) })
			if x := g.surface.measured(r); x.U > 0 && (part.U == 0 || math.Abs(x.Value)+x.U > math.Abs(part.Value)+part.U) {
				part.Measured, part.Place = x, p
			}
		}
		if part.U > 0 {
			g.model.Motions = append(g.model.Motions, part)
		}
	}
	slices.SortStableFunc(g.model.Motions, func(a, b MotionPart) int { return cmp.Compare(math.Abs(b.Value), math.Abs(a.Value)) })
}

// priorDoF is how many degrees of freedom the expected scatter of a gauging
// (Criteria.GaugeScatter) is worth beside what repeats show.
const priorDoF = 4

// lackOfFit compares what the posterior leaves of the places' means with the scatter of
// repeats at one place (Draper, Smith, Applied Regression Analysis, 2.1; from memory;
// NIST e-Handbook 4.4.4.6). Its degrees of freedom are the places less the trace of the
// hat matrix.
func (g *gauged) lackOfFit() {
	var y, w []float64
	rss, kept, variance := 0.0, 0.0, 0.0
	c := g.run.Setup.Criteria
	for i, p := range g.pairs {
		e, share := g.surface.post.Left(i)
		v := c.GaugeScatter*c.GaugeScatter + p.U*p.U + p.StepU*p.StepU
		weight := 1 / v
		if g.slips[i] {
			weight = 0
		}
		y, w = append(y, p.G), append(w, weight)
		rss += weight * e * e
		kept += share
		variance += v / float64(len(g.pairs))
	}
	pure, dof := fit.PureError(y, w, g.groups())
	if dof < 1 {
		return
	}
	s := result.Deviation(math.Sqrt(pure/dof*variance), dof, "mm")
	g.model.PureError = &s
	df := float64(len(g.pairs)) - kept - dof
	if df < 1 {
		return
	}
	// The expected scatter joins the pure error, so that a few repeats that agree by
	// luck do not condemn a good fit.
	within := (pure + priorDoF) / (dof + priorDoF)
	f := math.Max(rss-pure, 0) / df / within
	g.model.LackOfFit = &LackOfFit{F: f, DF1: df, DF2: dof + priorDoF, P: fit.FTail(f, df, dof+priorDoF)}
}
