package ask

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/analysis/workshop"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/probe/record"
)

// ProfileCommand is the bench calculator.
func ProfileCommand() *cobra.Command {
	var p workshop.Profile
	var lever, travel, gapU, widthU, lengthU float64
	var grade string
	c := &cobra.Command{
		Use:   "profile",
		Short: "Work out a profile's twist from the gap under it.",
		Long: `Lay the profile on a flat plate so that three corners touch. Find with a feeler gauge how
wide the gap under the fourth is. The twist is asin(gap/width) over the length. It is
compared with ANSI H35.2, by the circle around the section: 3 °/m below 40 mm, 1.5 °/m to 80
mm, 1 °/m from there. It is also compared with what it costs at the nozzle.`,
		Args: cobra.NoArgs,
	}
	f := c.Flags()
	f.Float64Var(&p.Gap.Value, "gap", math.NaN(), "Gap under the free corner, mm.")
	f.Float64Var(&gapU, "gap-u", 0.015, "Its standard uncertainty, mm: the step between two gauges of the set, divided by 3.5.")
	f.Float64Var(&p.Width.Value, "width", math.NaN(), "Width that lies on the reference, mm: a profile of 20 mm lies on some 17 mm, since its edges are rounded.")
	f.Float64Var(&widthU, "width-u", 0.1, "Its standard uncertainty, mm.")
	f.Float64Var(&p.Height, "height", 0, "Other side of the section, mm; 0: as wide.")
	f.Float64Var(&p.Length.Value, "length", math.NaN(), "Length between the ends that touch, mm.")
	f.Float64Var(&lengthU, "length-u", 1, "Its standard uncertainty, mm.")
	f.StringVar(&grade, "reference", "perfect", "Flatness of the reference: perfect, or DIN 876 grade 0, 1, 2, 3.")
	f.Float64Var(&lever, "lever", 40, "Lever of the probe across the beam, mm.")
	f.Float64Var(&travel, "travel", 0, "How far the head travels on it, mm; 0: the length.")
	asJSON := f.Bool("json", false, "For programs.")
	c.RunE = func(c *cobra.Command, _ []string) error {
		g, ok := map[string]workshop.Grade{"perfect": workshop.Perfect, "0": workshop.Grade0, "1": workshop.Grade1, "2": workshop.Grade2, "3": workshop.Grade3}[grade]
		if !ok {
			return console.Usage(fmt.Errorf("profile: --reference %q: perfect, 0, 1, 2 or 3", grade))
		}
		p.Grade, p.Gap.U, p.Width.U, p.Length.U = g, gapU, widthU, lengthU
		t, err := workshop.Check(p)
		if err != nil {
			return console.Usage(fmt.Errorf("profile: %w: give --gap, --width and --length", err))
		}
		if travel == 0 {
			travel = p.Length.Value
		}
		k := travel / p.Length.Value
		cost := workshop.Cost(math.Abs(lever), workshop.Rad(workshop.Value{Value: t.Deg.Value * k, U: t.Deg.U * k}))
		if *asJSON {
			return console.WriteJSON(c.OutOrStdout(), map[string]any{"twist_deg": t.Deg, "deg_per_m": t.PerMetre, "allowed_deg": t.AllowedDeg, "verdict": t.Verdict, "cost_mm": cost})
		}
		tellBench(c.OutOrStdout(), t, cost, lever, travel)
		return nil
	}
	return c
}

func tellBench(w io.Writer, t workshop.Twist, cost workshop.Value, lever, travel float64) {
	fmt.Fprintln(w, map[workshop.Verdict]string{
		workshop.Within:     "The profile is within what its maker may deliver.",
		workshop.Beyond:     "The profile is twisted by more than its maker may deliver: replace it.",
		workshop.CannotTell: "It cannot be told: use a finer set of gauges or a flatter reference, and measure again.",
	}[t.Verdict])
	seen := func(v workshop.Value) string {
		if math.Abs(v.Value) <= v.U95() {
			return fmt.Sprintf("at most %.2f", math.Abs(v.Value)+v.U95())
		}
		return fmt.Sprintf("%.2f ±%.2f", v.Value, v.U95())
	}
	fmt.Fprintf(w, "Twist: %s° (%s °/m), allowed %.2f° (ANSI H35.2).\n", seen(t.Deg), seen(t.PerMetre), t.AllowedDeg)
	fmt.Fprintf(w, "Nozzle error: %s mm from end to end of %.0f mm, with a lever of %.0f mm.\n", seen(cost), travel, lever)
	fmt.Fprintln(w, map[workshop.Verdict]string{
		workshop.Within:     "A first layer does not show that.",
		workshop.Beyond:     "A first layer shows that, whether the profile is within its tolerance or not.",
		workshop.CannotTell: "Whether a first layer shows that is not known: use a finer set of gauges or a flatter reference, and measure again.",
	}[cost.Against(record.DefaultCriteria().Tolerance)])
	fmt.Fprintln(w, "Intervals are 95 %. A twist is read on the bare profile: take brackets and rails off.")
}

// desk is what the repair desk asks of the person.
type desk struct {
	Caller
	api.AskRepair
	supports string
}

func RepairCommand() *cobra.Command {
	d := desk{}
	c := &cobra.Command{
		Use:   "repair [RECORD|RUN]",
		Short: "Say what to do with shims, rails and screws.",
		Long: `RECORD is a file with a run ("-" for standard input). Anything else is the id of a run;
without either it is the latest run. The roll of the head along X comes from the readings. The steps come in the order in which
to do them, each with what to measure after it. A step is there only where it helps. A shim
needs --mounting. Give the places of the bed's screws (--supports, or the setting
desk.supports). Then you get their turns, as the nozzle meets the bed, and not as the tilted
probe does.`,
		Args: cobra.MaximumNArgs(1),
	}
	f := c.Flags()
	d.add(c)
	console.AddSettings(f, "config", "set")
	f.Float64Var(&d.Mounting, "mounting", 0, "Length between the brackets that hold the beam, mm. A shim needs it.")
	f.Float64Var(&d.Spacing, "spacing", 20, "Distance of a bracket's fasteners across the beam, mm.")
	f.Float64Var(&d.Width, "width", 20, "Width of the profile, mm.")
	f.Float64Var(&d.Height, "height", 0, "Other side of the profile's section, mm; 0: as wide.")
	f.Float64Var(&d.Rails, "rails", 0, "Distance of two rails that carry the head, mm; 0: there is one beam.")
	f.StringVar(&d.supports, "supports", "", `Where the screws are that hold the bed, such as "30,30 205,30 117.5,205", mm.`)
	f.Float64Var(&d.Pitch, "pitch", 0, "How far one turn of them moves the bed, mm (default: the setting desk.pitch).")
	c.RunE = func(c *cobra.Command, args []string) error { return coded(d.do(c, args)) }
	return c
}

func (d *desk) do(c *cobra.Command, args []string) error {
	s, err := d.Settings(true)
	if err != nil {
		return err
	}
	if d.supports != "" {
		s.Desk.Supports = d.supports
		places, err := s.Desk.Places()
		if err != nil {
			return console.Usage(fmt.Errorf("repair: --supports %q: %w; give x,y in mm of three or more screws, with blanks between them", d.supports, err))
		}
		if len(places) < 3 {
			return console.Usage(fmt.Errorf("repair: --supports %q: give x,y in mm of three or more screws, with blanks between them", d.supports))
		}
	}
	a, err := d.repair(c, args, results.Asked(d.AskRepair, s))
	if err != nil {
		return err
	}
	if d.Json {
		return console.WriteJSON(c.OutOrStdout(), a)
	}
	tellRepair(c.OutOrStdout(), a)
	if len(a.Steps) == 0 && a.Largest == nil {
		return errors.New("repair: " + a.Why)
	}
	return nil
}

// repair works the steps out: of a file here, of a run by the daemon, which knows whether a
// correction is in the bed map now.
func (d *desk) repair(c *cobra.Command, args []string, asked api.AskRepair) (api.Repair, error) {
	if len(args) > 0 && isFile(args[0]) {
		run, err := recordOf(c, nil, args[0])
		if err != nil {
			return api.Repair{}, fmt.Errorf("repair: %w", err)
		}
		return results.RepairOf(run, analysis.Judge(run), asked, run.Setup.Applied != nil)
	}
	a, err := d.Dial()
	if err != nil {
		return api.Repair{}, err
	}
	id, err := Chosen(c, a, args)
	if err != nil {
		return api.Repair{}, err
	}
	return a.Repair(c.Context(), id, asked)
}

func tellRepair(w io.Writer, a api.Repair) {
	if len(a.Steps) > 0 {
		for _, c := range a.Cautions {
			fmt.Fprintln(w, "!", c)
		}
	}
	for i, s := range a.Steps {
		fmt.Fprintf(w, "%d. %s\n", i+1, s.Title)
		for _, d := range s.Do {
			fmt.Fprintln(w, "  ", d)
		}
		if s.Then != "" {
			fmt.Fprintln(w, "   Then:", s.Then)
		}
	}
	for _, s := range []string{a.Why, a.Missing} {
		if s != "" {
			fmt.Fprintln(w, s)
		}
	}
}

// read reads the record of a run: from a file, or from the printer's daemon.
func (d *desk) read(c *cobra.Command, name string) (record.Run, error) {
	if isFile(name) {
		return recordOf(c, nil, name)
	}
	a, err := d.Dial()
	if err != nil {
		return record.Run{}, err
	}
	return recordOf(c, a, name)
}
