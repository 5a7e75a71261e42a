package known

import (
	"fmt"
	"path"
	"strings"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/probe/record"
)

// Known is the setup as far as it is known, and why it is not enough where it
// is not.
type Known struct {
	Setup   record.Setup
	MapSize *api.Size
	// Missing says, for the steps that move, what is not known; "" if nothing.
	Missing string
	// NoTable says why no table can be made; "" if one can.
	NoTable string
	Has     struct{ Lever, Travel, Bed, Zero bool }
}

// Of puts together what the owner set and what the printer answered. What is
// set wins.
func Of(s config.Settings, f *link.Facts, applied *record.Applied) Known {
	if f == nil {
		f = &link.Facts{}
	}
	k := Known{Setup: record.Setup{
		Printer: f.Identity, Layout: record.Layout(s.Layout), Clearance: s.Clearance, Kind: probeKind(s.Probe.Kind),
		Sources: map[string]record.Source{}, Criteria: Criteria(s), Applied: applied,
	}}
	k.layout(s)
	k.lever(s, f)
	k.trigger(s, f)
	k.travel(s, f)
	k.bed(s)
	k.stored(s, f)
	k.reach()
	return k
}

func (k *Known) from(what string, src record.Source) { k.Setup.Sources[what] = src }

func (k *Known) layout(s config.Settings) {
	for _, key := range []string{"clearance", "layout"} {
		k.from(key, record.Default)
		if _, said := s.Given[key]; said {
			k.from(key, record.Set)
		}
	}
}

func (k *Known) lever(s config.Settings, f *link.Facts) {
	switch {
	case s.Lever != nil:
		k.Setup.Lever = record.Lever{X: s.Lever.X, Y: s.Lever.Y}
		k.from("lever", record.Set)
	case f.Lever != nil:
		k.Setup.Lever = *f.Lever
		k.from("lever", record.Asked)
	default:
		return
	}
	k.Has.Lever = true
}

// trigger takes the trigger height from the printer's own Z offset of the
// probe, which is minus the height of the nozzle when the probe triggers.
func (k *Known) trigger(s config.Settings, f *link.Facts) {
	switch {
	case s.Trigger != nil:
		k.Setup.Trigger, k.Setup.TriggerKnown = *s.Trigger, true
		k.from("trigger", record.Set)
	case k.Has.Lever && k.Setup.Lever.None():
		k.Setup.TriggerKnown = true
		k.from("trigger", record.Default)
	case f.ZOffset != nil && *f.ZOffset < 0:
		k.Setup.Trigger, k.Setup.TriggerKnown = -*f.ZOffset, true
		k.from("trigger", record.Asked)
	}
}

func (k *Known) travel(s config.Settings, f *link.Facts) {
	switch {
	case s.Travel != nil:
		k.Setup.Travel = record.Travel{Rect: *s.Travel, Z1: 1000}
		if f.Travel != nil {
			k.Setup.Travel.Z0, k.Setup.Travel.Z1 = f.Travel.Z0, f.Travel.Z1
		}
		k.from("travel", record.Set)
	case f.Travel != nil:
		k.Setup.Travel = *f.Travel
		k.from("travel", record.Asked)
	default:
		return
	}
	k.Has.Travel = true
}

func (k *Known) bed(s config.Settings) {
	if s.Bed == nil {
		return
	}
	k.Setup.Bed, k.Has.Bed = *s.Bed, true
	k.from("bed", record.Set)
	k.Setup.Zero, k.Has.Zero = k.Setup.Bed.Middle(), true
	k.from("zero", record.Default)
	if s.ZeroAt != nil {
		k.Setup.Zero = record.Place{U: s.ZeroAt.X, V: s.ZeroAt.Y}
		k.from("zero", record.Set)
	}
}

func (k *Known) stored(s config.Settings, f *link.Facts) {
	k.Setup.Levelling = len(f.Map) > 0
	k.from("levelling", record.Default)
	if f.Levelling != nil {
		k.Setup.Levelling = *f.Levelling
		k.from("levelling", record.Asked)
	}
	if len(f.Map) > 0 {
		k.MapSize = &api.Size{Columns: len(f.Map[0]), Rows: len(f.Map)}
	} else {
		k.NoTable = "no bed map: " + f.MapWhy
	}
	if s.MapArea == nil {
		k.NoTable = "the map area is not known: give --map-area X0,Y0,X1,Y1, the map's first and last column and row"
		return
	}
	area := *s.MapArea
	k.Setup.MapArea = &area
	k.from("map_area", record.Set)
}

// reach works out where both probe and nozzle can go, and says what is missing.
func (k *Known) reach() {
	s := &k.Setup
	switch {
	case !k.Has.Bed:
		k.Missing = "the bed is not known: give --bed X0,Y0,X1,Y1"
	case !k.Has.Lever:
		k.Missing = "the lever from nozzle to probe is not known, and the printer did not say: give --lever X,Y"
	case !s.TriggerKnown:
		k.Missing = "the trigger height is not known, nor the probe's Z offset: give --trigger MM, the height of the nozzle when the probe triggers"
	case !k.Has.Travel:
		k.Missing = "the nozzle's travel is not known, and the printer did not say: give --travel X0,Y0,X1,Y1"
	case s.Clearance <= s.Trigger:
		k.Missing = fmt.Sprintf("the clearance of %.1f mm is not above the trigger height of %.2f mm: give a larger --clearance", s.Clearance, s.Trigger)
	}
	if k.Missing != "" {
		return
	}
	s.Reach = s.Reachable()
	if !s.Reach.Valid() || s.Reach.W() < 30 || s.Reach.H() < 30 {
		k.Missing = "probe and nozzle can both reach less than 30 mm by 30 mm (bed, travel, lever): check them"
		return
	}
	if !s.Reach.Has(s.Zero) {
		k.Missing = fmt.Sprintf("probe and nozzle cannot both reach %s (X %.0f to %.0f, Y %.0f to %.0f): give --zero-at X,Y within that, and set the Z offset there",
			s.Zero, s.Reach.X0, s.Reach.X1, s.Reach.Y0, s.Reach.Y1)
	}
}

// Criteria are those of the run: what the owner chooses, and the rest as it is.
func Criteria(s config.Settings) record.Criteria {
	c := record.DefaultCriteria().WithLargest(s.Largest)
	c.Tolerance = s.Tolerance
	c.WheelLeast, c.WheelMost, c.BeltTurn, c.ScrewLead = s.Turns.WheelLeast, s.Turns.WheelMost, s.Turns.Belt, s.Turns.Screw
	return c
}

// probeKind is the kind of probe that the settings name; unknown is "".
func probeKind(s string) record.ProbeKind {
	if s == config.KindUnknown {
		return record.KindUnknown
	}
	return record.ProbeKind(s)
}

// NameOf is what the owner calls a printer, or the last part of its port; a pseudo-terminal
// has but a number, which changes.
func NameOf(s config.Settings) string {
	switch {
	case s.Name != "":
		return s.Name
	case strings.HasPrefix(s.Port, "/dev/pts/"):
		return "printer"
	}
	return path.Base(s.Port)
}

// Show turns what is known into the API's words.
func (k Known) Show(p *api.Printer) {
	s := k.Setup
	src := func(what string) string { return string(s.Sources[what]) }
	if k.Has.Lever {
		p.Lever = given(api.XY{X: s.Lever.X, Y: s.Lever.Y}, src("lever"))
	}
	if s.TriggerKnown {
		p.Trigger = given(s.Trigger, src("trigger"))
	}
	if k.Has.Travel {
		p.Travel = given(s.Travel, src("travel"))
	}
	if k.Has.Bed {
		p.Bed = given(s.Bed, src("bed"))
		p.Zero = given(api.XY{X: s.Zero.U, Y: s.Zero.V}, src("zero"))
	}
	p.Layout = given(string(s.Layout), src("layout"))
	if s.MapArea != nil {
		p.MapArea = given(*s.MapArea, src("map_area"))
	}
	if k.MapSize != nil {
		p.MapSize = given(*k.MapSize, string(record.Asked))
	}
	if k.MapSize != nil || s.Sources["levelling"] == record.Asked {
		p.Levelling = given(s.Levelling, src("levelling"))
	}
}

func given[T any](v T, src string) api.Known[T] { return api.Known[T]{Value: &v, Source: src} }

// Given is the setup of touches that come without a printer: what the settings
// say, and the reach of the bed.
func Given(s config.Settings) record.Setup {
	k := Of(s, nil, nil)
	if k.Has.Bed && !k.Setup.Reach.Valid() {
		k.Setup.Reach = k.Setup.Bed
	}
	k.Setup.LeverUnknown = !k.Has.Lever
	return k.Setup
}

// Override replaces in a recorded setup what the owner's flags say now.
func Override(to *record.Setup, s config.Settings, flagged func(string) bool) {
	from := Given(s)
	if flagged("lever") {
		to.Lever, to.LeverUnknown = from.Lever, false
	}
	if flagged("bed") {
		to.Bed = from.Bed
	}
	if flagged("map-area") {
		to.MapArea = from.MapArea
	}
	if flagged("zero-at") {
		to.Zero = record.Place{U: s.ZeroAt.X, V: s.ZeroAt.Y}
	}
	if flagged("layout") {
		to.Layout = from.Layout
	}
	if flagged("trigger") {
		to.Trigger, to.TriggerKnown = from.Trigger, true
	}
	if flagged("travel") {
		to.Travel = from.Travel
	}
	if flagged("set") || flagged("config") {
		to.Criteria = from.Criteria
	}
}
