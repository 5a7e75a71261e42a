package ask

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/analysis/proof"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/daemon/results"
	"abbed/gcode/patches"
	"abbed/probe/record"
)

// PatchesCommand makes the file of a proof print.
func PatchesCommand() *cobra.Command {
	d := desk{}
	var out, sheet, paper, inForce string
	c := &cobra.Command{
		Use:   "patches [RECORD|RUN]",
		Short: "Make a print file of patches that verify a correction.",
		Long: `Two patches lie beside each other at each of eleven points: the zero point, the corners,
and where most is in doubt. Without readings of the gauge 22 single ones lie over the bed.
Without a correction in force no patch lies where the nozzle digs in. Where the nozzle error
is not known they are 0.25 mm thick, for a nozzle that is 0.2 mm too low. After a check a
correction can rest on their thickness. Sizes, temperatures and your own start and end files
are settings (proof.*, layer, feeds, heat). The file goes to standard output, or to the file
of -o. Nothing goes to the printer.

To verify a correction in print files say --in-force file, and put it into this file too:
abbed correction carry.`,
		Args: cobra.MaximumNArgs(1),
	}
	f := c.Flags()
	d.add(c)
	console.AddSettings(f)
	f.StringVarP(&out, "out", "o", "", "Write the file here.")
	f.StringVar(&inForce, "in-force", "none", "The correction while it is printed: none, map (in the printer's bed map) or file (to be put into this file).")
	f.StringVar(&sheet, "worksheet", "", "Write a worksheet (HTML) here.")
	f.StringVar(&paper, "paper", "a4", "Of the worksheet: a4 or letter.")
	c.RunE = func(c *cobra.Command, args []string) error {
		if paper != "a4" && paper != "letter" {
			return console.Usage(fmt.Errorf("patches: --paper %q: a4 or letter", paper))
		}
		s, run, v, err := d.loaded(c, args)
		if err != nil {
			return coded(err)
		}
		p, err := proofPlan(s, run, v)
		if err != nil {
			return console.Usage(err)
		}
		a, err := results.Printed(p, v, inForce)
		if err != nil {
			return coded(err)
		}
		for _, caution := range a.Cautions {
			fmt.Fprintln(c.ErrOrStderr(), "!", caution)
		}
		fmt.Fprintf(c.ErrOrStderr(), "Plan %s: %d patches.\n", a.Plan, len(a.Patches))
		if sheet != "" {
			text := map[string]string{"a4": a.A4, "letter": a.Letter}[paper]
			if err := console.Become(sheet, text); err != nil {
				return fmt.Errorf("patches: --worksheet %w", err)
			}
		}
		if d.Json {
			return console.WriteJSON(c.OutOrStdout(), a)
		}
		if out != "" {
			if err := console.Become(out, a.File); err != nil {
				return fmt.Errorf("patches: -o %w", err)
			}
			return nil
		}
		_, err = io.WriteString(c.OutOrStdout(), a.File)
		return err
	}
	return c
}

// loaded reads the settings and the run, if one is named.
func (d *desk) loaded(c *cobra.Command, args []string) (config.Settings, record.Run, analysis.Verdict, error) {
	s, err := d.Settings(true)
	if err != nil {
		return s, record.Run{}, analysis.Verdict{}, err
	}
	if len(args) == 0 {
		return s, record.Run{Setup: known.Given(s)}, analysis.Verdict{}, nil
	}
	run, err := d.read(c, args[0])
	if err != nil {
		return s, run, analysis.Verdict{}, fmt.Errorf("patches: %w", err)
	}
	return s, run, analysis.Judge(run), nil
}

// PatchReadingsCommand judges the readings of a proof print.
func PatchReadingsCommand() *cobra.Command {
	d := desk{}
	var inForce, plan, person string
	c := &cobra.Command{
		Use:   "patch-readings RECORD|RUN READINGS",
		Short: "Say what micrometer readings of the patches show.",
		Long: `READINGS is a file ("-" for standard input). Its header is patch,thickness or u,v,thickness,
and each reading has a line. Several columns thickness are allowed, as on the worksheet.
Read each patch once, and again where you are asked to. Write gaps in place of a number where a patch has them.
With the id of a run the readings stay with it, and join it if no correction was in force.
With a record they do not. Use the settings of the patches where you name them by number.`,
		Args: cobra.ExactArgs(2),
	}
	f := c.Flags()
	d.add(c)
	console.AddSettings(f)
	f.StringVar(&inForce, "in-force", "", "The correction while it was printed: none, map (in the printer's bed map) or file.")
	f.StringVar(&plan, "plan", "", "The plan on the worksheet, where patches are named by number.")
	f.StringVar(&person, "person", "", "Who read.")
	c.RunE = func(c *cobra.Command, args []string) error {
		if _, ok := api.Corrected(inForce); !ok {
			return console.Usage(errors.New("patch-readings: --in-force none, map or file has to be said: with a correction in force the patches show what it left"))
		}
		b, err := console.ReadAll(args[1], c.InOrStdin())
		if err != nil {
			return console.Usage(fmt.Errorf("patch-readings: %s: %w", args[1], err))
		}
		t := api.Thickness{Plan: plan, CSV: string(b), InForce: inForce, Person: person}
		a, err := d.proved(c, args[0], t)
		if err != nil {
			return coded(err)
		}
		if d.Json {
			return console.WriteJSON(c.OutOrStdout(), a)
		}
		fmt.Fprintf(c.OutOrStdout(), "%s\n%s\n%s\n", a.Sentence, a.Next, a.Doubt)
		for _, p := range a.Patches {
			if math.Abs(p.Error) > max(p.U95, 0.01) {
				fmt.Fprintf(c.OutOrStdout(), "  %s: %s\n", say.At(p.U, p.V), say.Too(p.Error))
			}
		}
		return nil
	}
	return c
}

// proved asks the daemon, or judges by a record.
func (d *desk) proved(c *cobra.Command, name string, t api.Thickness) (api.Proof, error) {
	if !isFile(name) {
		a, err := d.Dial()
		if err != nil {
			return api.Proof{}, err
		}
		return a.Thickness(c.Context(), name, t)
	}
	s, run, v, err := d.loaded(c, []string{name})
	if err != nil {
		return api.Proof{}, err
	}
	readings, err := proof.ReadCSV(strings.NewReader(t.CSV))
	if err != nil {
		return api.Proof{}, console.Usage(fmt.Errorf("patch-readings: %w", err))
	}
	p, planned := proofPlan(s, run, v)
	for _, r := range readings {
		if r.Patch == 0 {
			continue
		}
		if planned != nil {
			return api.Proof{}, console.Usage(planned)
		}
		if readings, err = results.Numbered(p, t.Plan, readings); err != nil {
			return api.Proof{}, err
		}
		break
	}
	corrected, _ := api.Corrected(t.InForce)
	r, err := proof.Judge(readings, results.Case(run, v, corrected, p))
	return results.Proved(r), err
}

// proofPlan plans the patches over what a run has gauged.
func proofPlan(s config.Settings, run record.Run, v analysis.Verdict) (patches.Print, error) {
	words, err := known.Words(s)
	if err != nil {
		return patches.Print{}, err
	}
	p, err := results.Patches(s, run, v, strings.TrimSpace(words.Levelling(true).Text()))
	if err != nil {
		return p, fmt.Errorf("patches: %w", err)
	}
	return p, nil
}
