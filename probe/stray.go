package probe

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"abbed/analysis"
	"abbed/probe/record"
)

const (
	strayBeyond = 0.05 // mm from the median of the touches of one visit
	strayTries  = 3    // touches more, until they agree
	// placesLeft is at how many places the probe may not be believed before the run
	// ends (the project's design).
	placesLeft = 2
	// Stray touches at three places are too many where they are one in ten of all: what
	// is wild so often is wild unseen as well (common practice, no source).
	straysLeast = 3
	straysShare = 10
)

// heatEvery is after how many touches heat of somebody else is looked for.
const heatEvery = 4

// touch makes one touch of the plan; a stray one is made again, and where no touch can
// be believed the place is left.
func (j *job) touch(ctx context.Context, p record.Place, side record.Side, what record.Touch) error {
	if j.meter.done%heatEvery == heatEvery-1 {
		if err := noHeat(j.asker(ctx), j.Words, j.ours()); err != nil {
			return err
		}
	}
	defer j.did()
	_, err := j.believed(ctx, p, side, what)
	return err
}

// believed touches p until a touch can be believed, a few times at most; ok is false
// where none could, and the place is left.
func (j *job) believed(ctx context.Context, p record.Place, side record.Side, what record.Touch) (ok bool, err error) {
	for range 1 + strayTries {
		_, err := j.head.Touch(ctx, p, side, what)
		if err == nil {
			return true, nil
		}
		if !errors.Is(err, errStray) {
			return false, err
		}
		if err := j.tooWild(); err != nil {
			return false, err
		}
	}
	return false, j.leave(p)
}

// sure makes the first touch of a surface, again until two agree: all others are held
// against it. How far they scatter is judged by the gates.
func (j *job) sure(touch func() error) error {
	for range 1 + strayTries {
		if err := touch(); err != nil {
			return err
		}
		if j.head.ground.any() {
			break
		}
	}
	return nil
}

// leave notes that no touch of p can be believed. At the first place the Z offset may
// be the reason, which everything rests on; after a second place the run ends.
func (j *job) leave(p record.Place) error {
	if !j.head.ground.any() {
		return fault(nil, "not-a-bed", "is the Z offset set, and does the printer's report hold the probe's own offset? See the setting probe.adds_offset; look at the probe",
			"touch at %s: the heights there cannot be the bed", p)
	}
	j.left++
	if j.left < placesLeft {
		return j.note(fmt.Sprintf("the point at %s is left out: the probe's touches there cannot be believed", p))
	}
	return wild(fmt.Sprintf("At two points, %s the latest, the probe's touches cannot be believed: they do not agree with each other, or with all others of this run.", p))
}

// tooWild is a cut where stray touches come all over: one place alone may have a hole,
// a magnet or a clip.
func (j *job) tooWild() error {
	run := j.log.Run()
	strays := run.Of(record.SeriesStray)
	var at []record.Place
	for _, t := range strays {
		if !slices.ContainsFunc(at, func(p record.Place) bool { return p.Distance(t.Place) < 1 }) {
			at = append(at, t.Place)
		}
	}
	if len(at) >= straysLeast && len(strays)*straysShare > len(run.Touches) {
		return wild(fmt.Sprintf("%d of %d touches are far from where all others have the bed.", len(strays), len(run.Touches)))
	}
	return nil
}

// wild ends the run because of the probe.
func wild(text string) error {
	return &CutError{record.Cut{Finding: analysis.ProbeNotRepeatable, Code: "stray-touches", Text: text,
		Next: "Check that the probe is fastened, clean and free, and its cable whole. Check the bed for holes, magnets and clips, then measure again."}}
}

// agree reports whether the touches of one visit, heights zs, can be believed: more
// than half of them, and at least two if there are several, lie close to their
// median. One stray touch of two would foretell the contact wrong by half of what
// it is off, and the nozzle is lowered by that.
func agree(zs []float64) bool {
	if len(zs) < 2 {
		return true
	}
	m, near := median(zs), 0
	for _, z := range zs {
		if math.Abs(z-m) <= strayBeyond {
			near++
		}
	}
	return near >= 2 && 2*near > len(zs)
}

// median returns the middle of zs, at least one, or the mean of the two in the
// middle.
func median(zs []float64) float64 {
	s := slices.Sorted(slices.Values(zs))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
