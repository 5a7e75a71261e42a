package ask

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/analysis/given"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/probe/record"
)

// beside is what flags say of readings that a person took beside a run.
type beside struct {
	readings, reference string // files
	thickness, straight float64
	inForce             string
}

func (b *beside) add(f *pflag.FlagSet) {
	f.StringVar(&b.readings, "readings", "", "A CSV of patches and angles: quantity,x,y,value,u (coupon in mm, roll and pitch in degrees).")
	f.StringVar(&b.reference, "reference", "", "A CSV of touches along a straight reference: x,y,z,repeat, every place passed twice.")
	f.Float64Var(&b.thickness, "reference-thickness", 0, "Of the reference, mm.")
	f.Float64Var(&b.straight, "reference-straight", 0, "The zone that its grade allows over its length, mm.")
	f.StringVar(&b.inForce, "in-force", "", "The correction while the patches were printed: none, map or file.")
}

// body reads the files into the API's shape.
func (b beside) body(in io.Reader) (api.Readings, error) {
	r := api.Readings{InForce: b.inForce}
	if b.readings == "" && b.reference == "" {
		return r, errors.New("--readings or --reference has to name a file")
	}
	if b.reference != "" && (b.thickness == 0 || b.straight == 0) {
		return r, errors.New("--reference wants --reference-thickness and --reference-straight, mm")
	}
	if b.readings != "" {
		text, err := console.ReadAll(b.readings, in)
		if err != nil {
			return r, fmt.Errorf("--readings %s: %w", b.readings, err)
		}
		r.CSV = string(text)
	}
	if b.reference != "" {
		text, err := console.ReadAll(b.reference, in)
		if err != nil {
			return r, fmt.Errorf("--reference %s: %w", b.reference, err)
		}
		r.Reference = &api.ReferenceBar{Thickness: b.thickness, Straight: b.straight, CSV: string(text)}
	}
	return r, nil
}

// join adds the files to a run that was read from a file.
func (b beside) join(run *record.Run, in io.Reader) error {
	if b.readings == "" && b.reference == "" {
		return nil
	}
	text, err := b.body(in)
	if err != nil {
		return err
	}
	var found given.Beside
	if text.CSV != "" || text.Reference == nil {
		if found.Readings, err = given.ReadReadings(bytes.NewReader([]byte(text.CSV))); err != nil {
			return fmt.Errorf("%s: %w", b.readings, err)
		}
	}
	coupons := slices.ContainsFunc(found.Readings, func(r record.Reading) bool { return r.Quantity == record.QuantityCoupon })
	corrected, ok := api.Corrected(b.inForce)
	if coupons && !ok {
		return errors.New("--in-force none, map or file has to be said with coupons: with a correction in force they show what it left")
	}
	if r := text.Reference; r != nil {
		if err := found.LayCSV(bytes.NewReader([]byte(r.CSV)), r.Thickness, r.Straight); err != nil {
			return fmt.Errorf("%s: %w", b.reference, err)
		}
	}
	found.Join(run, corrected)
	return nil
}

// ReadingsCommand keeps readings with a run of the daemon.
func ReadingsCommand() *cobra.Command {
	var b beside
	var person string
	c := Ask("readings RUN", "Add readings of other instruments to a run.", cobra.ExactArgs(1),
		func(c *cobra.Command, a *client.Client, k Caller, args []string) error {
			body, err := b.body(c.InOrStdin())
			if err != nil {
				return console.Usage(fmt.Errorf("readings: %w", err))
			}
			body.Person = person
			return give(c, k, tellKept)(a.Readings(c.Context(), args[0], body))
		})
	c.Long = `Printed patches by micrometer, the tilt of the head by inclinometer, touches along a
straight reference: they are kept with the run and join its fit as far as they do not
contradict it. "-" reads standard input. For a record without a daemon: abbed runs analyse takes
the same flags.`
	b.add(c.Flags())
	c.Flags().StringVar(&person, "person", "", "Who read.")
	return c
}

func tellKept(w io.Writer, kept api.ReadingsKept) {
	fmt.Fprintf(w, "kept: %d patches, %d rolls, %d pitches, %d touches of a reference\n", kept.Coupons, kept.Rolls, kept.Pitches, kept.Reference)
	for _, t := range kept.Tells {
		fmt.Fprintln(w, t)
	}
}
