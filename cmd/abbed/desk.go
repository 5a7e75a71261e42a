package main

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/analysis/workshop"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/probe/record"
)

// profileCommand is the bench calculator.
func profileCommand() *cobra.Command {
	var p workshop.Profile
	var lever, travel, gapU, widthU, lengthU float64
	var grade string
	c := &cobra.Command{
		Use:   "profile",
		Short: "Work out a profile's twist from the gap under it",
		Long: `Lay the profile on a flat reference so that three corners touch, and find with
feeler gauges how wide the gap under the fourth is. The twist is asin(gap/width)
over the length; it is compared with ANSI H35.2 (by the section's circumscribing
circle: below 40 mm 3 °/m, 40 to 80 mm 1.5, from 80 mm 1), and with what it
costs at the nozzle of a probe with the given lever.`,
		Args: cobra.NoArgs,
	}
	f := c.Flags()
	f.Float64Var(&p.Gap.Value, "gap", math.NaN(), "gap under the free corner, mm")
	f.Float64Var(&gapU, "gap-u", 0.015, "its standard uncertainty, mm: the step between the feeler gauges that do and do not go in / 3.5")
	f.Float64Var(&p.Width.Value, "width", math.NaN(), "width that lies on the reference, mm: a profile of 20 mm lies on some 17 mm, since its edges are rounded")
	f.Float64Var(&widthU, "width-u", 0.1, "its standard uncertainty, mm")
	f.Float64Var(&p.Height, "height", 0, "other side of the section, mm; 0: as wide")
	f.Float64Var(&p.Length.Value, "length", math.NaN(), "length between the ends that touch, mm")
	f.Float64Var(&lengthU, "length-u", 1, "its standard uncertainty, mm")
	f.StringVar(&grade, "reference", "perfect", "flatness of the reference: perfect, or DIN 876 grade 0, 1, 2, 3")
	f.Float64Var(&lever, "lever", 40, "lever of the probe across the beam, mm")
	f.Float64Var(&travel, "travel", 0, "how far the head travels on it, mm; 0: the length")
	asJSON := f.Bool("json", false, "for programs")
	c.RunE = func(c *cobra.Command, _ []string) error {
		g, ok := map[string]workshop.Grade{"perfect": workshop.Perfect, "0": workshop.Grade0, "1": workshop.Grade1, "2": workshop.Grade2, "3": workshop.Grade3}[grade]
		if !ok {
			return usage(fmt.Errorf("profile: --reference %q: perfect, 0, 1, 2 or 3", grade))
		}
		p.Grade, p.Gap.U, p.Width.U, p.Length.U = g, gapU, widthU, lengthU
		t, err := workshop.Check(p)
		if err != nil {
			return usage(fmt.Errorf("profile: %w: give --gap, --width and --length", err))
		}
		if travel == 0 {
			travel = p.Length.Value
		}
		k := travel / p.Length.Value
		cost := workshop.Cost(math.Abs(lever), workshop.Rad(workshop.Value{Value: t.Deg.Value * k, U: t.Deg.U * k}))
		if *asJSON {
			return writeJSON(c.OutOrStdout(), map[string]any{"twist_deg": t.Deg, "deg_per_m": t.PerMetre, "allowed_deg": t.AllowedDeg, "verdict": t.Verdict, "cost_mm": cost})
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
		workshop.CannotTell: "The doubt reaches over the limit: use finer feeler gauges or a flatter reference, and measure again.",
	}[t.Verdict])
	fmt.Fprintf(w, "twist: %.3f ±%.3f° (%.2f ±%.2f °/m), allowed %.3f° (ANSI H35.2)\n", t.Deg.Value, t.Deg.U95(), t.PerMetre.Value, t.PerMetre.U95(), t.AllowedDeg)
	fmt.Fprintf(w, "cost at the nozzle: %.3f ±%.3f mm from end to end of %.0f mm, with a lever of %.0f mm\n", cost.Value, cost.U95(), travel, lever)
	fmt.Fprintln(w, map[workshop.Verdict]string{
		workshop.Within:     "A first layer does not show that.",
		workshop.Beyond:     "A first layer shows that, whether the profile is within its tolerance or not.",
		workshop.CannotTell: "Whether a first layer shows that is not known: use finer feeler gauges or a flatter reference, and measure again.",
	}[cost.Against(record.DefaultCriteria().Tolerance)])
	fmt.Fprintln(w, "Intervals are 95 %. A twist is read on the bare profile: take brackets and rails off.")
}

// desk is what the repair desk asks of the person.
type desk struct {
	caller
	api.AskRepair
	supports string
}

func repairCommand() *cobra.Command {
	d := desk{}
	c := &cobra.Command{
		Use:   "repair RECORD|RUN",
		Short: "Say what to do with shims, rails and screws",
		Long: `RECORD is the record of a run (a file, "-" for standard input); anything else is
the id of a run of the daemon. The roll of the head along X is worked out from the
gauged nozzle error; what it costs is repaired at the brackets that hold the beam.
With the places of the bed's supports (--supports, or desk.supports of the
settings) it says how far each has to go up or down, and how many turns
that is: as the nozzle sees the bed, and not as the tilted probe does.`,
		Args: cobra.ExactArgs(1),
	}
	f := c.Flags()
	d.add(c)
	addSettings(f, "config", "set")
	f.Float64Var(&d.Mounting, "mounting", 0, "length between the brackets that hold the beam, mm; 0: the gauged width")
	f.Float64Var(&d.Spacing, "spacing", 20, "distance of a bracket's fasteners across the beam, mm")
	f.Float64Var(&d.Width, "width", 20, "width of the profile, mm")
	f.Float64Var(&d.Height, "height", 0, "other side of the profile's section, mm; 0: as wide")
	f.Float64Var(&d.Rails, "rails", 0, "distance of two rails that carry the head, mm; 0: there is one beam")
	f.StringVar(&d.supports, "supports", "", `where the screws are that hold the bed, such as "30,30 205,30 117.5,205", mm`)
	f.Float64Var(&d.Pitch, "pitch", 0, "how far one turn of them moves the bed, mm (default: the setting desk.pitch)")
	c.RunE = func(c *cobra.Command, args []string) error { return coded(d.do(c, args[0])) }
	return c
}

func (d *desk) do(c *cobra.Command, name string) error {
	s, err := d.settings(true)
	if err != nil {
		return err
	}
	if d.supports != "" {
		s.Desk.Supports = d.supports
		places, err := s.Desk.Places()
		if err != nil {
			return usage(fmt.Errorf("repair: --supports %q: %w; give x,y in mm of three or more screws, with blanks between them", d.supports, err))
		}
		if len(places) < 3 {
			return usage(fmt.Errorf("repair: --supports %q: give x,y in mm of three or more screws, with blanks between them", d.supports))
		}
	}
	run, err := d.read(c, name)
	if err != nil {
		return err
	}
	v := analysis.Judge(run)
	a, err := results.RepairOf(run, v, results.Asked(d.AskRepair, s))
	if err != nil {
		return err
	}
	if d.json {
		return writeJSON(c.OutOrStdout(), a)
	}
	tellRepair(c.OutOrStdout(), a)
	if a.Twist == nil && a.Tram == nil && len(a.Advice) == 0 {
		return errors.New("repair: there is nothing to do with tools by this run: " + a.TwistWhy)
	}
	return nil
}

func tellRepair(w io.Writer, a api.Repair) {
	for _, c := range a.Cautions {
		fmt.Fprintln(w, "!", c)
	}
	if a.Twist != nil {
		fmt.Fprint(w, a.Twist.Says)
	} else {
		fmt.Fprintln(w, "Beam:", a.TwistWhy)
	}
	if a.Tram != nil {
		fmt.Fprintf(w, "Bed, by the nozzle: it rises by %.3f ±%.3f mm per 100 mm to the right, %.3f ±%.3f to the back.\n",
			a.Tram.SlopeX.Value, a.Tram.SlopeX.Hi95-a.Tram.SlopeX.Value, a.Tram.SlopeY.Value, a.Tram.SlopeY.Hi95-a.Tram.SlopeY.Value)
		for _, s := range a.Tram.Supports {
			fmt.Fprintln(w, " ", s.Says)
		}
		fmt.Fprintln(w, a.Tram.Says)
	} else {
		fmt.Fprintln(w, "Bed:", a.TramWhy)
	}
	for _, h := range a.Advice {
		fmt.Fprintf(w, "%s:\n", h.Title)
		for i, s := range h.Steps {
			fmt.Fprintf(w, "  %d. %s\n", i+1, s)
		}
	}
}

// read reads the record of a run: from a file, or from the printer's daemon.
func (d *desk) read(c *cobra.Command, name string) (record.Run, error) {
	if isFile(name) {
		return recordOf(c, nil, name)
	}
	a, err := d.dial()
	if err != nil {
		return record.Run{}, err
	}
	return recordOf(c, a, name)
}
