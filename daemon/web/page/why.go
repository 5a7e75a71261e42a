package page

import (
	"fmt"
	"math"
	"slices"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
	"abbed/probe/record"
)

// whyFigure draws how the tilt of the head becomes a gap, with this printer's
// lever and the gap errors found at the ends of the gauged row; none if they
// are not known, or no more than their doubt.
func (p *page) whyFigure(id string, rec record.Run, a api.Analysis) []figure {
	t, seen := tiltOf(rec, a)
	if math.Abs(t.Lever) < 1 || rec.Setup.LeverUnknown {
		return nil
	}
	lo, hi := ends(rec)
	v := rec.Setup.Zero.V
	gaps, err := p.desk.Gap(id, api.AskGap{Points: [][2]float64{{lo, v}, {hi, v}}})
	if err != nil || len(gaps) != 2 || gaps[0].Gap == nil || gaps[1].Gap == nil || !told(gaps[0]) && !told(gaps[1]) {
		return nil
	}
	t.Heads = []picture.Head{{Name: "left, X " + say.Short(lo), Gap: *gaps[0].Gap}, {Name: "zero point, X " + say.Short(rec.Setup.Zero.U)}, {Name: "right, X " + say.Short(hi), Gap: *gaps[1].Gap}}
	plain := fmt.Sprintf("The bed map shows where the probe touches. Head or bed tilts on its way, so the nozzle beside the probe is elsewhere. It is %s at the left and %s at the right.", say.Too(t.Heads[0].Gap), say.Too(t.Heads[2].Gap))
	t.Alt = "The head at three points along its beam, seen " + seen + ". " + plain
	return []figure{{Title: titleWhy, SVG: t.SVG(),
		Says: plain + fmt.Sprintf(" You see the head %s. The angles are drawn %.0f times too large.", seen, t.Factor())}}
}

// told reports whether a gap is more than its doubt.
func told(g api.Gap) bool { return g.U95 == nil || math.Abs(*g.Gap) > *g.U95 }

// tiltOf chooses the view in which the tilt that was found is seen. A beam that only
// sags, and a Y axis that rolls, tilt no head: where they may be the cause, none is drawn.
func tiltOf(rec record.Run, a api.Analysis) (picture.Tilt, string) {
	found := func(id string) bool {
		return slices.ContainsFunc(a.Findings, func(f api.Finding) bool { return f.ID == id })
	}
	if found("bed-roll") || !found("beam-twist") {
		return picture.Tilt{}, ""
	}
	return picture.Tilt{Lever: rec.Setup.Lever.Y}, "from the right end of the beam"
}

// ends are the leftmost and the rightmost gauged place, mm.
func ends(rec record.Run) (lo, hi float64) {
	lo, hi = rec.Setup.Zero.U, rec.Setup.Zero.U
	for _, g := range rec.Gaugings {
		lo, hi = min(lo, g.Place.U), max(hi, g.Place.U)
	}
	return lo, hi
}
