package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// How far a probe that is wrong at a place (a hole, a magnet, the edge, a clip) may be
// wrong around it, mm, and from where to where a point beside it tells the bed there (common
// practice, no source).
const (
	doubtReach  = 25.0
	besideLeast = 15.0
	besideMost  = 40.0
)

// doubtful are the places whose readings do not fit with all others: the hand slipped, or
// the probe is wrong there, and then the bed map is as well.
func (m Model) doubtful() (out []record.Place) {
	for _, r := range m.Residuals {
		if r.Doubted {
			out = append(out, r.Place)
		}
	}
	return out
}

// doubtfulAt reports whether the bed map may be wrong at p.
func (m Model) doubtfulAt(p record.Place) bool {
	for _, d := range m.doubtful() {
		if d.Distance(p) <= doubtReach {
			return true
		}
	}
	return false
}

// beside is a place on offer beside one that is doubtful, which no other was gauged near.
func (p planner) beside() (record.Place, bool) {
	for _, d := range p.model.doubtful() {
		near := func(q record.Place) bool { return q.Distance(d) >= besideLeast && q.Distance(d) <= besideMost }
		told := false
		for _, q := range p.gaugedAt() {
			told = told || near(q)
		}
		for _, q := range p.places {
			if !told && near(q) {
				return q, true
			}
		}
	}
	return record.Place{}, false
}

// Constants of a probe that is wrong at one place, mm: what it is wrong by at least, and
// from where to where the survey tells the surface around (the project's rule 5 and common
// practice, no source).
const (
	astrayLeast = 0.05
	aroundFrom  = 13.0
	aroundTo    = 60.0
	strayBeyond = 6.0 // times the median of what the surface leaves
	aroundMost  = 60  // touches, of a dense survey
)

// astray finds the pairs whose touches lie beside the surface that the survey shows around
// them, and how far, mm. Their readings count with that as a doubt: a nozzle that follows
// such a place cannot be told from a probe that is wrong there.
func (g *gauged) astray(sv *steady.Survey) {
	if sv == nil {
		return
	}
	off, se := make([]float64, len(g.pairs)), make([]float64, len(g.pairs))
	var told []float64
	for i, p := range g.pairs {
		z, u, ok := around(sv, p.Place)
		off[i], se[i] = p.Touched-z, u
		if !ok {
			off[i] = math.NaN()
			continue
		}
		told = append(told, off[i])
	}
	if len(told) < 5 {
		return
	}
	shared := fit.Median(told) // the frame moved between gauging and survey
	for i := range g.pairs {
		if d := math.Abs(off[i] - shared); d > math.Max(astrayLeast, 4*math.Hypot(se[i], g.pairs[i].U)) {
			g.wrong[i] = off[i] - shared
			g.pairs[i].U = math.Hypot(g.pairs[i].U, d)
		}
	}
}

// around is the height that the survey's touches around p, without those at p, show there,
// with its standard uncertainty: a quadric, once more without stray touches. ok is false
// where they are too few.
func around(sv *steady.Survey, p record.Place) (z, u float64, ok bool) {
	var rows [][]float64
	var zs []float64
	every := 1 + len(sv.Touches)/(5*aroundMost)
	for k, t := range sv.Touches {
		if k%every != 0 {
			continue
		}
		if d := t.Place.Distance(p); d < aroundFrom || d > aroundTo {
			continue
		}
		x, y := (t.Place.U-p.U)/aroundTo, (t.Place.V-p.V)/aroundTo
		rows, zs = append(rows, []float64{1, x, y, x * x, x * y, y * y}), append(zs, t.Z)
	}
	for range 2 {
		if len(rows) < 9 {
			return 0, 0, false
		}
		f, err := fit.Least(rows, zs, nil)
		if err != nil {
			return 0, 0, false
		}
		here := []float64{1, 0, 0, 0, 0, 0}
		z, u = f.Predict(here), f.S()*math.Sqrt(f.Variance(here))
		most := strayBeyond * fit.MAD(f.Residuals)
		var kept [][]float64
		var keptZ []float64
		for i, e := range f.Residuals {
			if math.Abs(e) <= most {
				kept, keptZ = append(kept, rows[i]), append(keptZ, zs[i])
			}
		}
		if len(kept) == len(rows) {
			break
		}
		rows, zs = kept, keptZ
	}
	return z, u, true
}

// misfit says what does not fit at pair i, "" where all does; off is how far, mm.
func (g *gauged) misfit(i int, slip, off float64) string {
	at, then := g.pairs[i].Place, "It counts less."
	if g.slips[i] {
		then = "It was set aside."
	}
	const beside = " Take one beside it: probe and bed map may be wrong there (a hole, a magnet, an edge)"
	switch {
	case g.wrong[i] != 0:
		return fmt.Sprintf("The probe's touches at %s lie %s from the bed around. The reading counts less.%s.", at, say.Fine(g.wrong[i]), beside)
	case g.slips[i] || slip > likely:
		return fmt.Sprintf("The reading at %s does not fit: it lies %s from what all others say. %s%s, or the hand slipped.", at, say.Fine(off), then, beside)
	}
	return ""
}
