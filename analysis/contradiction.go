package analysis

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

const (
	// tiltChange is the standard deviation of a change of the head's tilt that is thought
	// possible beforehand, mm at 100 mm from the zero place: the size of the errors that
	// the program is made for (design value).
	tiltChange = 0.15
	// lifting is by how much worse a change of the machine must account for all records
	// than a slip in one run does, as a difference of chi-squares with one degree of
	// freedom: 6.63 at 1 % (tables, from memory). The covariance of what is foretold is
	// that of the whole mixture, so that less of a change stands out of it.
	lifting = 6.63
)

// lift finds the contradictions that runs after them take back: a slip of that one run
// (its own change of tilt, and no other's) accounts for the records of all of them much
// better than a machine that has tilted otherwise since (the same change in all). A run
// that agrees because it gauged where little would show takes nothing back.
func (g *gauged) lift(runs [][]extra) {
	for k := range runs {
		if !g.later[k].Contradicts {
			continue
		}
		after := [][]extra{runs[k]}
		for i := k + 1; i < len(runs); i++ {
			if g.later[i].Used {
				after = append(after, runs[i])
			}
		}
		if len(after) > 1 && g.changed(after, 1, len(after)) > lifting {
			g.later[k].Lifted = true
			g.later[k].Text += " What was gauged after it does not show it again: its records were a slip."
		}
	}
}

// changed is by how much worse a change of tilt in the first many of the runs accounts
// for all their records than one in the first few, as a difference of chi-squares; 0
// where it cannot be told. Each run has a constant of its own.
func (g *gauged) changed(runs [][]extra, few, many int) float64 {
	var all []extra
	var of []int
	for k, xs := range runs {
		for _, x := range xs {
			all, of = append(all, x), append(of, k)
		}
	}
	zero := g.run.Setup.Zero
	d, v := g.apartFrom(all, g.alone)
	prior := make([]float64, len(runs)+2)
	prior[len(runs)], prior[len(runs)+1] = 1/(tiltChange*tiltChange), 1/(tiltChange*tiltChange)
	rest := func(tilts int) (float64, bool) {
		x := mat.NewDense(len(all), len(runs)+2, nil)
		for i, q := range all {
			x.Set(i, of[i], 1)
			if of[i] < tilts {
				x.Set(i, len(runs), (q.place.U-zero.U)/100)
				x.Set(i, len(runs)+1, (q.place.V-zero.V)/100)
			}
		}
		return generalised(d, v, x, prior)
	}
	a, ok := rest(many)
	b, fine := rest(few)
	if !ok || !fine {
		return 0
	}
	return a - b
}

// generalised returns the weighted sum of squares that the columns of x leave of d,
// whose covariance is v; prior is the inverse variance about 0 that each column's
// coefficient is held to beforehand, nil for none. ok is false where v or the columns
// have no inverse.
func generalised(d *mat.VecDense, v *mat.SymDense, x *mat.Dense, prior []float64) (rest float64, ok bool) {
	var chol, normal mat.Cholesky
	var vd, xd, b mat.VecDense
	var vx, xvx mat.Dense
	if !chol.Factorize(v) || chol.SolveVecTo(&vd, d) != nil || chol.SolveTo(&vx, x) != nil {
		return 0, false
	}
	xvx.Mul(x.T(), &vx)
	n, _ := xvx.Dims()
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			sym.SetSym(i, k, (xvx.At(i, k)+xvx.At(k, i))/2)
		}
		if prior != nil {
			sym.SetSym(i, i, sym.At(i, i)+prior[i])
		}
	}
	xd.MulVec(x.T(), &vd)
	if !normal.Factorize(sym) || normal.SolveVecTo(&b, &xd) != nil {
		return 0, false
	}
	return math.Max(mat.Dot(d, &vd)-mat.Dot(&xd, &b), 0), true
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
func (v Verdict) Contradicted() *Reason {
	l := v.otherwise()
	if l == nil {
		return nil
	}
	return &Reason{Code: "contradicted",
		Text: fmt.Sprintf("%d gaugings of a later run contradict what this run found, and which of them holds the records do not tell", l.Records),
		Hint: "gauge more for this run once again, at the same places, or measure the whole job again",
	}
}

// Outdated returns why what a run found may no longer hold, as a clause: a later run
// contradicts it, or ended early with a finding; "" if neither.
func (v Verdict) Outdated(run record.Run) string {
	if l := v.otherwise(); l != nil {
		return fmt.Sprintf("%d gaugings of a later run contradict the run that it was made from: the head tilts otherwise now, the blade was drawn in another way, or one of the records is a slip", l.Records)
	}
	if c := cutLater(run); c != nil {
		return "a later run for the one that it was made from ended early with the finding " + c.Finding
	}
	return ""
}

// contradicted is the finding that a later run contradicts this one, if one does that
// was not taken back.
func (e evidence) contradicted() []Finding {
	l := e.otherwise()
	if l == nil {
		return nil
	}
	f := e.undetermined(otherwiseSays, otherwiseNext)
	f.Evidence = l.Text
	f.Doubt = "Which of them it is, the records do not tell. What was found without them stands in the other findings."
	return []Finding{f}
}

// otherwiseSays says it, otherwiseNext what to do then.
const otherwiseSays = "What was gauged later contradicts this run: the head tilts otherwise now, the blade was drawn in another way, or one of the records is a slip."

const otherwiseNext = "Gauge more for this run once again, at the same places: if they show nothing of it, the later records were a slip. If it contradicts this run too, or cannot tell, take the machine for another than then: measure the whole job again."

// sayLater puts into the doubt of the first finding what became of later runs; one
// that contradicts has a finding of its own.
func (v Verdict) sayLater(fs []Finding) []Finding {
	if len(fs) == 0 {
		return fs
	}
	if v.otherwise() != nil && fs[0].Sentence != otherwiseSays {
		fs[0].Doubt += " What was gauged later contradicts it; see below."
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
	c.Text = "A later run that gauged more for this one ended early. " + c.Text
	return &c
}
