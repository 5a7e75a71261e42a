package probe

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/probe/record"
)

// prove gauges the nozzle with the levelling on, coming from above, at the place
// with the most negative addition: there a wrong table would drive the nozzle
// into the bed first. What is recorded says whether the table is proved; see
// Proved.
func (j *job) prove(ctx context.Context) error {
	run := j.log.Run()
	if run.Proof == nil {
		return fault(nil, "nothing-to-prove", "start the proof of an applied table", "verify: the run does not say what")
	}
	g := &gauging{job: j, blade: bladeOf(run), alone: true, proof: run.Proof}
	if err := j.begin(record.StepProve, g.records()); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.Level(ctx, true); err != nil {
		return err
	}
	if err := g.at(ctx, run.Proof.Place); err != nil {
		return err
	}
	return g.levelOrTilt(ctx)
}

// proving returns the approach to the place of a proof.
func proving(p record.Proof, blade float64) approachTo {
	return approachTo{
		predicted: p.Predicted, arrival: p.Predicted + blade + arriveAbove,
		floor: p.Predicted - floorBelow - p.U95, doubt: p.U95,
	}
}

// levelOrTilt gauges the zero place as well where the nozzle was found elsewhere than
// the table promises: a table moves nothing there, so what is off there is the level,
// of the Z offset or of a machine that warmed up, and not the table.
func (g *gauging) levelOrTilt(ctx context.Context) error {
	shown, ok := Proved(g.log.Run())
	if g.proof.LevelOpen && g.proof.Place.Distance(g.setup.Zero) >= leastHop {
		g.spot++
		return g.at(ctx, g.setup.Zero)
	}
	if !ok || shown.Proved || g.proof.Place.Distance(g.setup.Zero) < leastHop {
		return nil
	}
	err := g.note(fmt.Sprintf(
		"with the correction the nozzle is off by %+.3f mm ±%.3f at %s (+ = too high): the zero point is gauged as well, to tell the level from the tilt", shown.Off, shown.U95, g.proof.Place))
	if err != nil {
		return err
	}
	g.spot++
	return g.at(ctx, g.setup.Zero)
}

// Shown is what a run with the step prove showed, mm. + = the nozzle is too high.
type Shown struct {
	// Off is how far the nozzle is from where the table promises, at the place of the
	// proof; U95 the half width of its 95 % interval.
	Off, U95 float64
	// Proved says that Off lies within the tolerance of the first layer, and is known
	// better than that (a sheet of paper may not be enough).
	Proved bool
	// Level is how far the nozzle is off at the zero place, where the table moves
	// nothing, and LevelU95 the half width of its 95 % interval: nil if that was not
	// asked for.
	Level    *float64
	LevelU95 float64
	// Levelled says that the rest of Off is within the tolerance, and known better
	// than that: then it is the level that moved, and not the table.
	Levelled bool
}

// Proved tells what a run with the step prove showed; ok is false if nothing was
// recorded at the place of the proof.
func Proved(run record.Run) (shown Shown, ok bool) {
	if run.Proof == nil {
		return shown, false
	}
	there, zero := offAt(run, 0), offAt(run, 1)
	if len(there) == 0 {
		return shown, false
	}
	within := func(off, u95 float64) bool {
		return math.Abs(off) <= run.Setup.Criteria.Tolerance && u95 <= run.Setup.Criteria.Tolerance
	}
	shown.Off, shown.U95 = stat.Mean(there, nil), proofDoubt(run, len(there))
	open := run.Proof.LevelOpen && run.Proof.Place.Distance(run.Setup.Zero) >= leastHop
	shown.Proved = !open && within(shown.Off, shown.U95)
	if len(zero) > 0 {
		level := stat.Mean(zero, nil)
		// What is shared, the blade and what was predicted, falls out of the rest.
		rest, apart := shown.Off-level, 2*run.Setup.Criteria.GaugeScatter*math.Sqrt(1/float64(len(there))+1/float64(len(zero)))
		if open {
			shown.Off, shown.U95, shown.Proved = rest, apart, within(rest, apart)
			return shown, true
		}
		shown.Level, shown.LevelU95 = &level, proofDoubt(run, len(zero))
		shown.Levelled = !shown.Proved && within(rest, apart) && math.Abs(level) > math.Abs(rest)
	}
	return shown, true
}

// offAt are the distances from what was promised at one spot of a proof, mm.
func offAt(run record.Run, spot int) []float64 {
	var out []float64
	for _, g := range run.Gaugings {
		if g.Spot == spot {
			out = append(out, run.Proof.Predicted-(g.Z-g.Blade))
		}
	}
	return out
}

// proofDoubt is the half width of the 95 % interval of the mean of so many gaugings
// less what was predicted, mm: that of the gaugings, and of the level that was
// predicted from.
func proofDoubt(run record.Run, records int) float64 {
	return math.Hypot(gaugedDoubt(run.Setup.Criteria, records), 2*run.Proof.PredictedU)
}

// gaugedDoubt is the half width of the 95 % interval of the mean of so many gaugings,
// mm: what they share, and what differs between them; k = 2 (both are expected
// beforehand, JCGM 100:2008, G.3.2).
func gaugedDoubt(c record.Criteria, records int) float64 {
	return 2 * math.Hypot(c.GaugeU, c.GaugeScatter/math.Sqrt(float64(records)))
}

// provingMost is how many records a proof asks for at most at one place.
const provingMost = 6

// levelReadings are made at either point where the level is not known beforehand: both
// scatters count then.
const levelReadings = 3

// toProve returns how many records a proof needs at least, so that its doubt is
// within the tolerance: one where no number does.
func toProve(run record.Run) int {
	for n := 1; n <= provingMost; n++ {
		if proofDoubt(run, n) <= run.Setup.Criteria.Tolerance {
			return n
		}
	}
	return 1
}

// proves returns how many records one spot of a proof needs: one more as long as the
// scatter of the records leaves open whether the nozzle is within the tolerance (what
// the level leaves open no record at this place settles), and as many at the zero place
// as there were at that of the proof.
func proves(run record.Run, spot int) int {
	n, tolerance := len(offAt(run, 0)), run.Setup.Criteria.Tolerance
	least := toProve(run)
	shown, ok := Proved(run)
	switch {
	case spot > 0:
		return n
	case run.Proof.LevelOpen:
		return max(levelReadings, least)
	case !ok || n < least || proofDoubt(run, provingMost) > tolerance:
		return least
	case n < provingMost && math.Abs(math.Abs(shown.Off)-tolerance) < gaugedDoubt(run.Setup.Criteria, n):
		return n + 1
	}
	return n
}

// notProved is the cut of a proof that failed.
func notProved(at record.Place, where string, by float64) record.Cut {
	return record.Cut{Finding: analysis.Undetermined, Code: "not-proved",
		Text: fmt.Sprintf("With the correction the bed at %s is %s where it should, by over %s.", at, where, say.MM(by)),
		Next: "Undo the correction, then measure again."}
}
