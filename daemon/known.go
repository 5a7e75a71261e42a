package daemon

import (
	"fmt"
	"math"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/probe/record"
)

// known is the setup as far as it is known, and why it is not enough where it
// is not.
type known struct {
	setup   record.Setup
	mapSize *api.Size
	// missing says, for the steps that move, what is not known; "" if nothing.
	missing string
	// noTable says why no table can be made; "" if one can.
	noTable string
	has     struct{ lever, travel, bed, zero bool }
}

// know puts together what the owner set and what the printer answered. What is
// set wins.
func know(s config.Settings, f *link.Facts, applied *record.Applied) known {
	if f == nil {
		f = &link.Facts{}
	}
	k := known{setup: record.Setup{
		Printer: f.Identity, Layout: record.Layout(s.Layout), Clearance: s.Clearance, Kind: probeKind(s.Probe.Kind),
		Sources: map[string]record.Source{}, Criteria: criteria(s.Judged()), Applied: applied,
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

func (k *known) from(what string, src record.Source) { k.setup.Sources[what] = src }

func (k *known) layout(s config.Settings) {
	for _, key := range []string{"clearance", "layout"} {
		k.from(key, record.Default)
		if _, said := s.Given[key]; said {
			k.from(key, record.Set)
		}
	}
}

func (k *known) lever(s config.Settings, f *link.Facts) {
	switch {
	case s.Lever != nil:
		k.setup.Lever = record.Lever{X: s.Lever.X, Y: s.Lever.Y}
		k.from("lever", record.Set)
	case f.Lever != nil:
		k.setup.Lever = *f.Lever
		k.from("lever", record.Asked)
	default:
		return
	}
	k.has.lever = true
}

// trigger takes the trigger height from the printer's own Z offset of the
// probe, which is minus the height of the nozzle when the probe triggers.
func (k *known) trigger(s config.Settings, f *link.Facts) {
	switch {
	case s.Trigger != nil:
		k.setup.Trigger, k.setup.TriggerKnown = *s.Trigger, true
		k.from("trigger", record.Set)
	case k.has.lever && k.setup.Lever.None():
		k.setup.TriggerKnown = true
		k.from("trigger", record.Default)
	case f.ZOffset != nil && *f.ZOffset < 0:
		k.setup.Trigger, k.setup.TriggerKnown = -*f.ZOffset, true
		k.from("trigger", record.Asked)
	}
}

func (k *known) travel(s config.Settings, f *link.Facts) {
	switch {
	case s.Travel != nil:
		k.setup.Travel = record.Travel{Rect: rect(*s.Travel), Z1: 1000}
		if f.Travel != nil {
			k.setup.Travel.Z0, k.setup.Travel.Z1 = f.Travel.Z0, f.Travel.Z1
		}
		k.from("travel", record.Set)
	case f.Travel != nil:
		k.setup.Travel = *f.Travel
		k.from("travel", record.Asked)
	default:
		return
	}
	k.has.travel = true
}

func (k *known) bed(s config.Settings) {
	if s.Bed == nil {
		return
	}
	k.setup.Bed, k.has.bed = rect(*s.Bed), true
	k.from("bed", record.Set)
	k.setup.Zero, k.has.zero = k.setup.Bed.Middle(), true
	k.from("zero", record.Default)
	if s.ZeroAt != nil {
		k.setup.Zero = record.Place{U: s.ZeroAt.X, V: s.ZeroAt.Y}
		k.from("zero", record.Set)
	}
}

func (k *known) stored(s config.Settings, f *link.Facts) {
	k.setup.Levelling = len(f.Map) > 0
	k.from("levelling", record.Default)
	if f.Levelling != nil {
		k.setup.Levelling = *f.Levelling
		k.from("levelling", record.Asked)
	}
	if len(f.Map) > 0 {
		k.mapSize = &api.Size{Columns: len(f.Map[0]), Rows: len(f.Map)}
	} else {
		k.noTable = "no stored map: " + f.MapWhy
	}
	if s.MapArea == nil {
		k.noTable = "the map area is not known: give --map-area X0,Y0,X1,Y1, where the printer's stored map has its first and last column and row"
		return
	}
	area := rect(*s.MapArea)
	k.setup.MapArea = &area
	k.from("map_area", record.Set)
}

// reach works out where both probe and nozzle can go, and says what is missing.
func (k *known) reach() {
	s := &k.setup
	switch {
	case !k.has.bed:
		k.missing = "the bed is not known: give --bed X0,Y0,X1,Y1"
	case !k.has.lever:
		k.missing = "the lever from nozzle to probe is not known, and the printer did not say: give --lever X,Y"
	case !s.TriggerKnown:
		k.missing = "the trigger height is not known, and the printer did not say its probe's Z offset: give --trigger MM, the height of the nozzle when the probe triggers"
	case !k.has.travel:
		k.missing = "the nozzle's travel is not known, and the printer did not say: give --travel X0,Y0,X1,Y1"
	case s.Clearance <= s.Trigger:
		k.missing = fmt.Sprintf("the clearance of %.1f mm is not above the trigger height of %.2f mm: give a larger --clearance", s.Clearance, s.Trigger)
	}
	if k.missing != "" {
		return
	}
	s.Reach = s.Reachable()
	if !s.Reach.Valid() || s.Reach.W() < 30 || s.Reach.H() < 30 {
		k.missing = "bed, travel and lever leave less than 30 mm by 30 mm that both probe and nozzle can reach: check them"
		return
	}
	if !s.Reach.Has(s.Zero) {
		k.missing = fmt.Sprintf("the zero place %s is not where both probe and nozzle can go (x %.0f to %.0f, y %.0f to %.0f): give --zero-at X,Y within that, and set the Z offset there",
			s.Zero, s.Reach.X0, s.Reach.X1, s.Reach.Y0, s.Reach.Y1)
	}
}

func rect(r config.Rect) record.Rect { return record.Rect{X0: r.X0, Y0: r.Y0, X1: r.X1, Y1: r.Y1} }

// criteria turns the owner's words (mm per 100 mm) into the run's.
func criteria(c config.Criteria) record.Criteria {
	return record.Criteria{
		Tolerance: c.Tolerance, Scatter: c.Scatter, Play: c.Play, Wander: c.Wander,
		DriftRate: c.DriftRate, DriftLeft: c.DriftLeft, DriftSaid: c.DriftSaid,
		Largest: c.Largest, Steepest: c.Steepest / 100, DoubtShare: c.DoubtShare,
		GaugeU: c.GaugeU, GaugeScatter: c.GaugeScatter, GaugedMargin: c.GaugedMargin,
		NodeReach: c.NodeReach, MapDiffers: c.MapDiffers,
		WheelLeast: c.WheelLeast, WheelMost: c.WheelMost, BeltTurn: c.BeltTurn, ScrewLead: c.ScrewLead,
	}
}

// show turns what is known into the API's words.
func (k known) show(p *api.Printer) {
	s := k.setup
	src := func(what string) string { return string(s.Sources[what]) }
	if k.has.lever {
		p.Lever = given(api.XY{X: s.Lever.X, Y: s.Lever.Y}, src("lever"))
	}
	if s.TriggerKnown {
		p.Trigger = given(s.Trigger, src("trigger"))
	}
	if k.has.travel {
		t := s.Travel
		p.Travel = given(api.Box{X0: t.X0, Y0: t.Y0, Z0: t.Z0, X1: t.X1, Y1: t.Y1, Z1: t.Z1}, src("travel"))
	}
	if k.has.bed {
		p.Bed = given(api.Rect(s.Bed), src("bed"))
		p.Zero = given(api.XY{X: s.Zero.U, Y: s.Zero.V}, src("zero"))
	}
	p.Layout = given(string(s.Layout), src("layout"))
	if s.MapArea != nil {
		p.MapArea = given(api.Rect(*s.MapArea), src("map_area"))
	}
	if k.mapSize != nil {
		p.MapSize = given(*k.mapSize, string(record.Asked))
	}
	if k.mapSize != nil || s.Sources["levelling"] == record.Asked {
		p.Levelling = given(s.Levelling, src("levelling"))
	}
}

func given[T any](v T, src string) api.Known[T] { return api.Known[T]{Value: &v, Source: src} }

// finite keeps a number that JSON can say.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// Given is the setup of touches that come without a printer: what the settings
// say, and the reach of the bed.
func Given(s config.Settings) record.Setup {
	k := know(s, nil, nil)
	if k.has.bed && !k.setup.Reach.Valid() {
		k.setup.Reach = k.setup.Bed
	}
	k.setup.LeverUnknown = !k.has.lever
	return k.setup
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
