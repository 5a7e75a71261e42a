package probe

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// HeatLimits bound what a run may heat.
type HeatLimits struct {
	// Nozzle and Bed are the highest targets, degrees C.
	Nozzle, Bed float64
	// Time is how long heating up may take.
	Time time.Duration
}

const (
	// warmEnough is how near a temperature must come to its target, K, and settled
	// how many times in a row it is looked at before it counts as there.
	warmEnough = 2.0
	settled    = 5
	// heatLook is how long between two looks.
	heatLook = 2 * time.Second
	// coldAfter is after how long a heater that did not gain warming K is taken for
	// one whose heater or sensor is loose (common practice, no source).
	coldAfter = 3 * time.Minute
	warming   = 3.0
	// fallen is how far a temperature may fall below its target during a run, K.
	fallen = 15.0
)

// Heat sets the heaters' targets, within the limits. That they are on is owed
// from before the first word goes out.
func (h *Head) Heat(ctx context.Context, want record.Heat) error {
	l := h.manner.Heat
	switch {
	case !(want.Nozzle >= 0 && want.Nozzle <= l.Nozzle):
		return tooHot("nozzle", want.Nozzle, l.Nozzle)
	case !(want.Bed >= 0 && want.Bed <= l.Bed):
		return tooHot("bed", want.Bed, l.Bed)
	case !want.Any():
		return nil
	}
	if err := h.keepSwitch(record.SwitchHeaters, true); err != nil {
		return err
	}
	if want.Bed > 0 {
		if _, err := h.set(ctx, h.words.HeatBed(want.Bed), "heat the bed"); err != nil {
			return err
		}
	}
	if want.Nozzle > 0 {
		if _, err := h.set(ctx, h.words.HeatNozzle(want.Nozzle), "heat the nozzle"); err != nil {
			return err
		}
	}
	return nil
}

// Cool switches the heaters off and makes sure of it where the printer reports
// targets; until then they are owed.
func (h *Head) Cool(ctx context.Context) error {
	for _, m := range h.words.CoolAll() {
		if _, err := h.set(ctx, m, "switch the heaters off"); err != nil {
			return err
		}
	}
	r, err := h.ask(ctx, h.words.Temperatures(), "look at the temperatures")
	if err != nil {
		return err
	}
	if t, ok := h.words.ReadTemperatures(r); ok && (t.NozzleTarget > 0 || t.BedTarget > 0) {
		return fault(nil, "still-hot", "switch the heaters off at the printer, or the printer itself",
			"switch the heaters off: the printer says that nozzle %.0f °C and bed %.0f °C are still wanted", t.NozzleTarget, t.BedTarget)
	}
	return h.keepSwitch(record.SwitchHeaters, false)
}

func tooHot(what string, want, most float64) *record.Problem {
	return refuse("too-hot", "ask for less; the limit is a setting, and the maker's own limit comes first",
		"heat the %s to %.0f °C: at most %.0f °C", what, want, most)
}

// warmUp heats what the run asked for, waits until it is there, and homes again:
// a warm machine has another height.
func (j *job) warmUp(ctx context.Context) error {
	want := j.log.Run().Heat
	if want == nil || !want.Any() {
		return nil
	}
	if err := j.head.Heat(ctx, *want); err != nil {
		return err
	}
	j.view.Sentence = fmt.Sprintf("Heating: %s. Nozzle and bed burn.", heats(*want))
	j.show()
	if err := j.waitWarm(ctx, *want); err != nil {
		return err
	}
	j.view.Sentence = sentences[record.StepPrepare]
	return j.head.Home(ctx)
}

// heats says in words what is heated.
func heats(h record.Heat) string {
	switch {
	case h.Nozzle > 0 && h.Bed > 0:
		return fmt.Sprintf("nozzle to %.0f °C, bed to %.0f °C", h.Nozzle, h.Bed)
	case h.Nozzle > 0:
		return fmt.Sprintf("nozzle to %.0f °C", h.Nozzle)
	}
	return fmt.Sprintf("bed to %.0f °C", h.Bed)
}

// coolUnwatched switches off what the run heats, while nobody is there.
func (j *job) coolUnwatched(ctx context.Context) error {
	if !slices.Contains(j.log.Run().Off, record.SwitchHeaters) {
		return nil
	}
	return j.head.Cool(ctx)
}

// waitWarm looks at the temperatures until they are there.
func (j *job) waitWarm(ctx context.Context, want record.Heat) error {
	began, first, there := j.Clock.Now(), (*dialect.Temps)(nil), 0
	for {
		t, err := j.temperatures(ctx)
		if err != nil {
			return err
		}
		if t == nil {
			return fault(nil, "no-temperature", "heat at the printer's own menu is not seen here: run cold, or set the pattern of the temperatures",
				"heat up: the printer does not tell its temperatures")
		}
		if first == nil {
			first = t
		}
		if there++; !warm(*t, want) {
			there = 0
		}
		if there >= settled {
			return nil
		}
		switch took := j.Clock.Now().Sub(began); {
		case took > j.head.manner.Heat.Time:
			return fault(nil, "heats-slowly", "look at heaters and their settings, or let heating take longer (setting heat.time)",
				"heat up: nozzle %.0f °C and bed %.0f °C after %.0f min; wanted %s", t.Nozzle, t.Bed, took.Minutes(), heats(want))
		case took > coldAfter && (stuck(first.Nozzle, t.Nozzle, want.Nozzle) || stuck(first.Bed, t.Bed, want.Bed)):
			return fault(nil, "does-not-heat", "switch the printer off; a heater or a sensor may be loose: the maker says who may look at it",
				"heat up: nozzle %.0f °C and bed %.0f °C after %.0f min, no warmer than before", t.Nozzle, t.Bed, took.Minutes())
		}
		if err := j.Clock.Sleep(ctx, heatLook); err != nil {
			return err
		}
	}
}

func warm(t dialect.Temps, want record.Heat) bool {
	near := func(is, want float64) bool { return want <= 0 || math.Abs(is-want) <= warmEnough }
	return near(t.Nozzle, want.Nozzle) && near(t.Bed, want.Bed)
}

func stuck(first, is, want float64) bool {
	return want > 0 && is < want-warmEnough && is < first+warming
}

// temperatures asks the printer; nil if it does not say.
func (j *job) temperatures(ctx context.Context) (*dialect.Temps, error) {
	r, err := j.head.ask(ctx, j.Words.Temperatures(), "look at the temperatures")
	if err != nil {
		return nil, err
	}
	t, ok := j.Words.ReadTemperatures(r)
	if !ok {
		return nil, nil
	}
	return &t, nil
}

// keepWarmth keeps how warm the machine is; a printer that does not say is no
// fault.
func (j *job) keepWarmth(ctx context.Context, at record.Step) error {
	t, err := j.temperatures(ctx)
	if err != nil || t == nil {
		return err
	}
	return j.keep(record.Event{Warmth: &record.Warmth{Step: at, Nozzle: t.Nozzle, NozzleTarget: t.NozzleTarget, Bed: t.Bed, BedTarget: t.BedTarget}})
}

// ours returns the heat that this run has on.
func (j *job) ours() record.Heat {
	run := j.log.Run()
	if run.Heat == nil || !slices.Contains(run.Off, record.SwitchHeaters) {
		return record.Heat{}
	}
	return *run.Heat
}
