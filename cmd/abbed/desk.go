package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/analysis/workshop"
	"abbed/daemon/client"
	"abbed/probe/record"
)

// deskCautions stand before anything that is done with tools.
var deskCautions = []string{
	"Before any work: switch off, unplug, and let nozzle and bed cool below 43 C.",
	"The maker's instructions come first; mains wiring, heaters and frames under load are for qualified people.",
	"Hold the head and the beam before you loosen what carries them.",
}

// benchCheckCommand is the bench calculator.
func benchCheckCommand() *cobra.Command {
	var p workshop.Profile
	var lever, travel, gapU, widthU, lengthU float64
	var grade string
	c := &cobra.Command{
		Use:   "bench-check",
		Short: "Work out a profile's twist from the gap under it on a flat reference; no printer is needed",
		Long: `Lay the profile on a flat reference so that three corners touch, and find with
feeler blades how wide the gap under the fourth is. The twist is asin(gap/width)
over the length; it is compared with ANSI H35.2 (by the section's circumscribing
circle: below 40 mm 3 deg/m, 40 to 80 mm 1.5, from 80 mm 1), and with what it
costs at the nozzle of a probe with the given lever.`,
		Args: cobra.NoArgs,
	}
	f := c.Flags()
	f.Float64Var(&p.Gap.Value, "gap", math.NaN(), "gap under the free corner, mm")
	f.Float64Var(&gapU, "gap-u", 0.015, "its standard uncertainty, mm: the step between the blades that do and do not go in / 3.5")
	f.Float64Var(&p.Width.Value, "width", math.NaN(), "width on the reference, mm")
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
			return usage(fmt.Errorf("bench-check: --reference %q: perfect, 0, 1, 2 or 3", grade))
		}
		p.Grade, p.Gap.U, p.Width.U, p.Length.U = g, gapU, widthU, lengthU
		t, err := workshop.Check(p)
		if err != nil {
			return usage(fmt.Errorf("bench-check: %w: give --gap, --width and --length", err))
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
		workshop.CannotTell: "The doubt reaches over the limit: use finer blades or a flatter reference, and measure again.",
	}[t.Verdict])
	fmt.Fprintf(w, "twist: %.3f ± %.3f deg (%.2f ± %.2f deg per metre); allowed %.3f deg (ANSI H35.2)\n", t.Deg.Value, t.Deg.U95(), t.PerMetre.Value, t.PerMetre.U95(), t.AllowedDeg)
	fmt.Fprintf(w, "cost at the nozzle: %.3f ± %.3f mm from end to end of %.0f mm, with a lever of %.0f mm\n", cost.Value, cost.U95(), travel, lever)
	if cost.Value+cost.U95() > record.DefaultCriteria().Tolerance {
		fmt.Fprintln(w, "That is more than a first layer bears, whether the profile is within its tolerance or not.")
	}
	fmt.Fprintln(w, "Intervals are 95 %. A twist is read on the bare profile: take brackets and rails off.")
}

// desk is what the repair desk asks of the person.
type desk struct {
	caller
	mounting, spacing, width, rails float64
}

func repairCommand() *cobra.Command {
	d := desk{}
	c := &cobra.Command{
		Use:   "repair RECORD|RUN",
		Short: "Say what a person can do with tools: which end is high, the shim, the gap to look for first",
		Long: `RECORD is the record of a run (a file, "-" for standard input); anything else is
the id of a run of the daemon. The roll of the head along X is worked out from the
gauged gap error; what it costs is repaired at the brackets that hold the beam.`,
		Args: cobra.ExactArgs(1),
	}
	f := c.Flags()
	addCaller(f, &d.caller)
	f.Float64Var(&d.mounting, "mounting", 0, "length between the brackets that hold the beam, mm; 0: the gauged width")
	f.Float64Var(&d.spacing, "spacing", 20, "distance of a bracket's fasteners across the beam, mm")
	f.Float64Var(&d.width, "width", 20, "width of the profile, mm")
	f.Float64Var(&d.rails, "rails", 0, "distance of two rails that carry the head, mm; 0: there is one beam")
	c.RunE = func(c *cobra.Command, args []string) error { return coded(d.do(c, args[0])) }
	return c
}

func (d *desk) do(c *cobra.Command, name string) error {
	run, err := d.read(c, name)
	if err != nil {
		return err
	}
	if !(d.mounting >= 0) || !(d.spacing > 0) || !(d.width > 0) || !(d.rails >= 0) {
		return usage(errors.New("repair: --mounting, --spacing, --width and --rails are lengths in mm"))
	}
	v := analysis.Judge(run)
	r, err := rollOf(v, run.Setup.Lever)
	if err != nil {
		return err
	}
	if d.mounting == 0 {
		d.mounting = r.To - r.From
	}
	if d.json {
		return writeJSON(c.OutOrStdout(), map[string]any{"from": r.From, "to": r.To, "roll_rad": r.Roll, "high_at_right": r.High(), "mounting": d.mounting,
			"shim": r.Shim(d.mounting, d.spacing), "rocking": r.Rocking(d.width, d.mounting), "cautions": deskCautions})
	}
	d.tell(c.OutOrStdout(), r, run.Setup.Lever)
	return nil
}

func (d *desk) read(c *cobra.Command, name string) (record.Run, error) {
	var b []byte
	var err error
	if _, no := os.Stat(name); name == "-" || no == nil {
		if b, err = readAll(name, c.InOrStdin()); err != nil {
			return record.Run{}, usage(fmt.Errorf("repair: %w", err))
		}
	} else {
		token, err := os.ReadFile(d.token)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return record.Run{}, fmt.Errorf("read the operator's token: %w", err)
		}
		a, err := client.New(d.url, strings.TrimSpace(string(token))).Record(c.Context(), name)
		if err != nil {
			return record.Run{}, fmt.Errorf("repair: %s is no file here, and as a run: %w", name, err)
		}
		b = a
	}
	run, err := readRecord(b)
	if err == nil {
		err = record.CheckVersion(run)
	}
	if err != nil {
		return run, usage(fmt.Errorf("repair: %s: %w; is it the whole record of a run?", name, err))
	}
	return run, nil
}

// rollOf returns the head's roll over the gauged width at the middle row, or why
// the run cannot tell it.
func rollOf(v analysis.Verdict, lever record.Lever) (workshop.Roll, error) {
	if f, failed := v.Stability.Failed(); failed {
		return workshop.Roll{}, refused(fmt.Errorf("repair: %s %s", f.Sentence, f.Next))
	}
	if v.Gap == nil {
		return workshop.Roll{}, fmt.Errorf("repair: the gap error cannot be told: %s: %s", v.GapWhy.Text, v.GapWhy.Hint)
	}
	if !v.Has(analysis.BeamTwist) {
		return workshop.Roll{}, fmt.Errorf("repair: no twist of the beam was found that could be shimmed away: %s %s", v.Findings[0].Sentence, v.Findings[0].Next)
	}
	a := v.Gap.Area
	row := (a.Y0 + a.Y1) / 2
	left, ul, no := v.Gap.At(record.Place{U: a.X0, V: row})
	right, ur, no2 := v.Gap.At(record.Place{U: a.X1, V: row})
	if no != nil || no2 != nil {
		return workshop.Roll{}, errors.New("repair: the ends of the gauged area are not told: gauge there")
	}
	// Both are contrasts against the zero place between them, so that their doubts
	// add at most: the plain sum is never too small.
	return workshop.FromGap(a.X0, a.X1, workshop.Value{Value: right - left, U: (ul + ur) / 2}, lever.Y)
}

func (d *desk) tell(w io.Writer, r workshop.Roll, lever record.Lever) {
	for _, c := range deskCautions {
		fmt.Fprintln(w, "!", c)
	}
	toDeg := 180 / math.Pi
	fmt.Fprintf(w, "The head rolls by %+.3f ± %.3f deg from x=%.0f to x=%.0f mm (+: its back rises to the right).\n", r.Roll.Value*toDeg, r.Roll.U95()*toDeg, r.From, r.To)
	high, s := r.High(), r.Shim(d.mounting, d.spacing)
	if high == workshop.Neither {
		fmt.Fprintln(w, "That is within its doubt: there is nothing to shim. Gauge more places along X.")
		return
	}
	rock := r.Rocking(d.width, d.mounting)
	in, out := workshop.Blades(rock)
	fmt.Fprintf(w, "First confirm it on the bench: the bare profile, %.0f mm wide, over %.0f mm on a flat reference should rock by %.3f ± %.3f mm", d.width, d.mounting, rock.Value, rock.U95())
	fmt.Fprintf(w, "%s.\n", blades(in, out))
	fmt.Fprintln(w, "If it does not, the brackets or what they stand on are twisted, and not the profile.")
	t := workshop.Allowed(d.width, 0, d.mounting)
	fmt.Fprintf(w, "A maker may deliver %.3f deg over that length (ANSI H35.2, a square section); here it is %.3f ± %.3f deg.\n", t, math.Abs(r.Over(d.mounting).Value)*toDeg, r.Over(d.mounting).U95()*toDeg)
	fmt.Fprintf(w, "Shim: %.3f ± %.3f mm under the %s fasteners (%.0f mm apart) of the right bracket, or under the %s ones of the left.\n", s.Thick.Value, s.Thick.U95(), s.Under, d.spacing, high)
	if d.rails > 0 {
		x := r.Shim(d.mounting, d.rails)
		fmt.Fprintf(w, "With two rails %.0f mm apart: raise the %s rail at its right end by %.3f ± %.3f mm, or lower the other there.\n", d.rails, x.Under, x.Thick.Value, x.Thick.U95())
	}
	fmt.Fprintf(w, "Or move the probe: with its lever of %.0f mm across the beam this costs %.3f mm", lever.Y, math.Abs(r.Lever(lever.Y).Value))
	for _, y := range []float64{lever.Y / 2, lever.Y / 4, 0} {
		fmt.Fprintf(w, "; with %.0f mm %.3f", y, math.Abs(r.Lever(y).Value))
	}
	fmt.Fprintln(w, " mm.")
	fmt.Fprintln(w, "The Y axis that rolls evenly costs the same as a twisted beam; angle readings at the head tell them apart. Intervals are 95 %. Afterwards tram the bed and measure again.")
}

func blades(in, out float64) string {
	s := ""
	if in > 0 {
		s += fmt.Sprintf("; a blade of %.2f mm goes in", in)
	}
	if out > 0 {
		s += fmt.Sprintf("; one of %.2f mm does not", out)
	}
	return s
}
