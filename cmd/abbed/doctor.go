package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"abbed/config"
	"abbed/daemon"
	"abbed/daemon/api"
	"abbed/gcode"
	"abbed/gcode/port"
)

// checkup is what doctor found.
type checkup struct {
	Port    string      `json:"port"`
	Printer api.Printer `json:"printer"`
	Framed  bool        `json:"numbered_lines"`
	// Answered says for each question whether it was answered, and how.
	Answered []answered `json:"answered"`
}

type answered struct {
	Asked string `json:"asked"`
	Said  string `json:"said"`
	OK    bool   `json:"ok"`
}

func doctorCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "doctor --port DEV",
		Short: "Ask the printer what it answers; change nothing, move nothing",
		Long: `Asks the printer who it is, and for its lever, travel, map and temperatures, and
says what is missing for which step. It moves nothing and changes nothing, and
adds no pulse to the line that resets some boards; opening a device may reset
it all the same, so do it while nothing prints. Without --port it lists what is
plugged in.`,
	}
	asJSON := c.Flags().Bool("json", false, "for programs")
	config.AddFlags(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, err := config.Load(config.Options{Flags: c.Flags(), AlsoEnv: alsoEnv})
		if err != nil {
			return usage(err)
		}
		if s.Port == "" {
			return listPorts(c.OutOrStdout())
		}
		found, err := examine(c.Context(), s)
		if err != nil {
			return err
		}
		if *asJSON {
			return writeJSON(c.OutOrStdout(), found)
		}
		found.tell(c.OutOrStdout())
		return nil
	}
	return c
}

func listPorts(w io.Writer) error {
	found := port.List()
	if len(found) == 0 {
		return usage(errors.New("doctor: no serial adapter is plugged in; give --port DEV if you know its name, or tcp://host:port"))
	}
	for _, p := range found {
		fmt.Fprintln(w, p)
	}
	return nil
}

// examine opens the port, asks, and closes it.
func examine(ctx context.Context, s config.Settings) (checkup, error) {
	words, err := daemon.Words(s)
	if err != nil {
		return checkup{}, usage(err)
	}
	conn, err := port.Open(ctx, port.Spec{Name: s.Port, Baud: s.Baud})
	var taken *port.TakenError
	if errors.As(err, &taken) {
		return checkup{}, refused(err)
	}
	if err != nil {
		return checkup{}, err
	}
	sess := gcode.NewSession(conn, gcode.Options{Silence: s.Silence})
	defer sess.Close()
	late, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	if err := sess.Greet(late); err != nil {
		return checkup{}, fmt.Errorf("%w; is this the printer's port and its rate (--set baud=%d)?", err, s.Baud)
	}
	facts, err := daemon.Identify(late, sess, words, s.Port)
	if err != nil {
		return checkup{}, err
	}
	out := checkup{Port: s.Port, Printer: daemon.Examined(s, facts), Framed: sess.Framed()}
	out.ask(facts)
	return out, nil
}

// ask lists what was answered.
func (c *checkup) ask(f daemon.Facts) {
	add := func(asked string, ok bool, said string, args ...any) {
		text := "no answer that could be understood"
		if ok {
			text = fmt.Sprintf(said, args...)
		}
		c.Answered = append(c.Answered, answered{asked, text, ok})
	}
	add("who it is", len(f.Identity.Fields) > 0, "%d fields", len(f.Identity.Fields))
	add("lever from nozzle to probe", f.Lever != nil, "x %.2f mm, y %.2f mm", deref(f.Lever).X, deref(f.Lever).Y)
	add("Z offset of the probe", f.ZOffset != nil, "%.3f mm", deref(f.ZOffset))
	t := deref(f.Travel)
	add("nozzle's travel", f.Travel != nil, "x %.1f to %.1f, y %.1f to %.1f, z %.1f to %.1f mm", t.X0, t.X1, t.Y0, t.Y1, t.Z0, t.Z1)
	columns := 0
	if len(f.Map) > 0 {
		columns = len(f.Map[0])
	}
	add("stored map", len(f.Map) > 0, "%d columns, %d rows", columns, len(f.Map))
	add("stored levelling", f.Levelling != nil, "on: %v", deref(f.Levelling))
	add("settings", f.Settings != "", "%d characters", len(f.Settings))
	add("temperatures", f.Temps != nil, "nozzle %.1f C, bed %.1f C", deref(f.Temps).Nozzle, deref(f.Temps).Bed)
}

func deref[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

// tell says what was found, for people.
func (c checkup) tell(w io.Writer) {
	fmt.Fprintf(w, "The printer at %s answers.\n", c.Port)
	for _, k := range slices.Sorted(maps.Keys(c.Printer.Identity)) {
		fmt.Fprintf(w, "  %s: %s\n", k, c.Printer.Identity[k])
	}
	for _, a := range c.Answered {
		fmt.Fprintf(w, "  %-28s %s\n", a.Asked, a.Said)
	}
	fmt.Fprintf(w, "  %-28s %v\n", "numbered lines with a check", c.Framed)
	for _, k := range slices.Sorted(maps.Keys(c.Printer.Steps)) {
		if s := c.Printer.Steps[k]; s.Can {
			fmt.Fprintf(w, "%s: can be done\n", k)
		} else {
			fmt.Fprintf(w, "%s: cannot be done: %s\n", k, s.WhyNot)
		}
	}
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
