package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// Tell is one quantity with the ways of seeing that have told it in this run,
// or what would tell it.
type Tell struct {
	// What names the quantity, Says it in words.
	What string `json:"what" about:"names the quantity"`
	Says string `json:"says" about:"the quantity in words"`
	// By are the ways that told it here; empty if it is not told.
	By []string `json:"by" about:"the steps that told it in this run; empty: it is not told"`
	// Value is the quantity in one number where it is one.
	Value *result.Measured `json:"value"`
	// Text says what is told, or why it is not; Next what would tell it.
	Text string `json:"text" about:"what is told, or why it is not"`
	Next string `json:"next" about:"what would tell it"`
}

// Ways of seeing, as Tell.By names them.
const (
	byGauging   = "gauging"
	bySurvey    = "survey"
	byTurn      = "plate-turn"
	byCoupons   = "coupons"
	byAngles    = "angles"
	byReference = "reference"
	byLater     = "later-gauging"
)

// tells lists what can be told with what, in the order in which it matters at
// the nozzle.
func (e evidence) tells() []Tell {
	if e.run.Setup.NoLever() {
		return nil
	}
	return []Tell{
		e.tellsGap(), e.tellsLevel(), e.tellsBeam(), e.tellsRoll(),
		e.tellsMachine(), e.tellsBed(), e.tellsStraight(), e.tellsPlate(), e.tellsTwist(),
	}
}

// tellsGap: gauging and coupons read it, the roll of the head in part.
func (e evidence) tellsGap() Tell {
	t := Tell{What: "gap-error", Says: "how far the nozzle is off place by place, against the zero point",
		Text: "Only a reading at the nozzle tells it.", Next: "Run the step gauging. Coupons and, for a lever along Y, angles make it surer."}
	if e.Gap == nil {
		if e.GapWhy != nil {
			t.Text = result.Capital(e.GapWhy.Text) + "."
		}
		return t
	}
	t.By, t.Next = []string{byGauging}, ""
	if len(e.gauged.pairs) == 0 {
		t.By = nil
	}
	for _, x := range e.gauged.extra {
		if !slices.Contains(t.By, x.by) {
			t.By = append(t.By, x.by)
		}
	}
	x := e.largest
	m := result.Measured{Value: x.Gap, U: x.U95 / result.Z95, Lo95: x.Gap - x.U95, Hi95: x.Gap + x.U95, Unit: "mm", DoF: math.Inf(1)}
	t.Value = &m
	t.Text = fmt.Sprintf("It is largest at %s.", x.Place)
	if e.gauged.alone.post != nil && len(e.gauged.extra) > 0 {
		before := *e.Gap
		before.surface = e.gauged.alone
		t.Text += fmt.Sprintf(" This run's readings alone leave a doubt of up to %s, all readings together %s.", say.Fine(before.Largest().MostDoubt), say.Fine(x.MostDoubt))
	}
	for _, why := range e.gauged.refused {
		t.Text += " " + why
	}
	for _, l := range e.Later {
		t.Text += " " + l.Text
	}
	if e.run.Setup.Applied != nil && slices.ContainsFunc(e.run.Readings, func(r record.Reading) bool { return r.Quantity == record.QuantityCoupon }) {
		t.Text += " The printed patches are left out: a correction was in force."
	}
	return t
}

func (e evidence) tellsLevel() Tell {
	t := Tell{What: "level", Says: "how far the person's Z offset is too high", Value: e.Level,
		Text: "Only a feeler gauge of known thickness at the zero point tells it. Patches share an unknown constant.", Next: "Gauge the zero point."}
	if e.Level != nil {
		t.By, t.Next = []string{byGauging}, ""
	}
	return t
}

// tellsBeam: an even twist of the beam against an even roll of the Y axis.
func (e evidence) tellsBeam() Tell {
	t := Tell{What: "beam-slope", Says: "the beam's part of the left-right slope, right end less left end",
		Text: "Readings show the slope. An even twist of the beam and an even Y axis roll look alike.", Next: "Run the step angles beside the gauging."}
	lever := Pointing(e.run.Setup.Lever)
	switch s := e.ways.slopes; {
	case s != nil:
		t.By, t.Value, t.Next = []string{byGauging, byAngles}, &s.beam, ""
		t.Text = "The rest of the slope is an even roll of the Y axis: " + um2(s.y) + "."
	case lever == AlongX:
		t.Text = "A lever along X sees no roll: the Y axis cannot make this slope. Pitch and straightness of the beam make it together."
		t.Next = "Angle readings tell the pitch from the straightness."
		fallthrough
	default:
		for _, x := range e.ways.tilts {
			m := x.part
			t.By, t.Value = []string{byAngles}, &m
			t.Text = fmt.Sprintf("The %s of the head by its readings: %s over the gauged width.", x.quantity, angle(x.deg))
			t.Next = "What of the slope is left is another error motion. See the finding."
		}
	}
	return t
}

func (e evidence) tellsRoll() Tell {
	t := Tell{What: "y-axis-roll", Says: "an uneven roll of the Y axis: the left-right slope that changes from front to back (t s)",
		Text: "In the map a twisted plate looks the same. Only at the nozzle it is the Y axis.", Next: "Gauge the corners, front and back."}
	if e.Gap != nil && len(e.gauged.rows()) > 1 {
		t.By, t.Next = []string{byGauging}, ""
		a := e.Gap.Area
		m := e.Gap.surface.measured(e.Gap.surface.roll(record.Place{U: a.X1, V: a.Y1}, a.Middle()))
		t.Value, t.Text = &m, "At the right back corner of the gauged area, against its middle."
	}
	return t
}

// tellsMachine: EZX + D without the bed.
func (e evidence) tellsMachine() Tell {
	t := Tell{What: "machine-bend", Says: "the bow of straightness and head tilt together (EZX + D) along X",
		Text: "In a map it is mixed with the bed.", Next: "Run the step reference."}
	if r := e.ways.reference; r != nil {
		t.By, t.Value, t.Next = []string{byReference}, &r.Bow, ""
		t.Text = fmt.Sprintf("On the reference at Y %.0f, X %.0f to %.0f. How much of it is tilt of the head, only readings show.", r.Y, r.Columns[0].At, r.Columns[len(r.Columns)-1].At)
	}
	return t
}

func (e evidence) tellsBed() Tell {
	t := Tell{What: "bed-bend", Says: "the bed's own bow along X, the middle against the ends",
		Text: "A map shows it only together with the machine.", Next: "Run survey and reference together."}
	if r := e.ways.reference; r != nil && r.Bed != nil {
		t.By, t.Value, t.Next = []string{bySurvey, byReference}, r.Bed, ""
		t.Text = fmt.Sprintf("Of the bed under the reference, at Y %.0f, without its tilt.", r.Y)
	}
	return t
}

func (e evidence) tellsStraight() Tell {
	t := Tell{What: "straightness", Says: "the bow of the carriage's way itself (EZX), the middle against the ends",
		Text: "Gauging does not see it, where probe and nozzle follow the same way. Neither does a turned plate.", Next: "Run gauging and reference together. It needs a lever along Y."}
	if Pointing(e.run.Setup.Lever) != alongY {
		t.Text = "With this lever the straightness enters the nozzle error too. Only the sum with the head's tilt is measured."
		t.Next = "A probe beside the nozzle along Y, or angle readings of the pitch."
	}
	if s := e.ways.straight; s != nil {
		t.By, t.Value, t.Next = []string{byGauging, byReference}, s, ""
		t.Text = "The reference less the bend of the head in the readings. + means that the middle is highest."
	}
	return t
}

func (e evidence) tellsPlate() Tell {
	t := Tell{What: "plate-shape", Says: "the plate's own S shape along X (odd under a half turn), right edge",
		Text: "In a map it is mixed with carrier and machine.", Next: "Run survey and plate-turn together."}
	w := e.ways.turned
	switch {
	case w == nil:
	case !w.Lay():
		t.Text = fmt.Sprintf("The turned plate shows what no plate can do (p %.1g): it did not lie on the same outline, or bent. Nothing is concluded.", w.Slips)
		t.Next = "Clean plate and carrier, lay the plate exactly, and turn it again."
	default:
		t.By, t.Value, t.Next = []string{bySurvey, byTurn}, &w.Shape, ""
		t.Text = "What stays in the map, " + um2(w.ShapeStays) + ", is carrier, straightness and head tilt together: the turn does not tell these apart. Tilts and even shapes stay unknown."
	}
	return t
}

func (e evidence) tellsTwist() Tell {
	t := Tell{What: "plate-twist", Says: "the removable plate's own twist (t s), at its back right corner",
		Text: "Half a turn leaves it as it is.", Next: "A quarter turn shows it, for a square plate."}
	if w := e.ways.turned; w != nil && w.Lay() && w.Twist != nil {
		t.By, t.Value, t.Next = []string{bySurvey, byTurn}, w.Twist, ""
		t.Text = "What stays in the map, " + um2(*w.TwistStays) + ", is carrier and machine together."
	}
	return t
}
