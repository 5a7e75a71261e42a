package setup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/gcodetest"
	"abbed/gcode/port"
)

// Checkup is what doctor found.
type Checkup struct {
	Port    string      `json:"port"`
	Printer api.Printer `json:"printer"`
	Framed  bool        `json:"numbered_lines"`
	// Baud is the rate at which it answered; 0 if there is none.
	Baud int `json:"baud,omitempty"`
	// Answered says for each question whether it was answered, and how.
	Answered []answered `json:"answered"`
	// Proposals are settings that would help.
	Proposals []known.Proposal `json:"proposals"`

	facts link.Facts
}

type answered struct {
	Asked string `json:"asked"`
	Said  string `json:"said"`
	OK    bool   `json:"ok"`
}

// Doctor is one visit.
type Doctor struct {
	Settings config.Settings
	record   string // file of the dialogue; "": none
	Patience Patience
	Errs     io.Writer
}

func DoctorCommand() *cobra.Command {
	d := &Doctor{Patience: atRates}
	c := &cobra.Command{
		Use:   "doctor",
		Short: "Ask the printer what it answers; nothing moves or changes.",
		Long: `Asks the printer who it is, and for its lever, travel, map and temperatures. It says what
is missing for which step, and proposes settings for that. Nothing moves or changes.
Opening a device can reset the board, so do it while nothing prints. The printer is that of
--port or --printer, or the only one that was set up. With none of them it lists what is
plugged in. Without --baud it tries the usual rates one after another.

--record FILE writes down what was said, for a test of the developers
(daemon/known/testdata/dialogues). The file holds what the printer says of itself, such as
its serial number: read it before you share it.`,
	}
	var k ask.Caller
	k.AddSome(c, "printer", "json")
	c.Flags().StringVar(&d.record, "record", "", "File for the dialogue.")
	console.AddSettings(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, err := k.Settings(len(k.Known()) == 1)
		if err != nil {
			return err
		}
		if s.Port == "" {
			return listPorts(c.OutOrStdout())
		}
		d.Settings, d.Errs = s, c.ErrOrStderr()
		found, err := d.examine(c.Context())
		if err != nil {
			return err
		}
		if k.Json {
			return console.WriteJSON(c.OutOrStdout(), found)
		}
		found.tell(c.OutOrStdout())
		return nil
	}
	return c
}

func listPorts(w io.Writer) error {
	found := port.List()
	if len(found) == 0 {
		return console.Usage(errors.New("doctor: no serial adapter is plugged in; give --port DEV if you know its name, or tcp://host:port"))
	}
	for _, p := range found {
		fmt.Fprintln(w, p)
	}
	return nil
}

// rates are those to be tried: what somebody set, or on a device the usual ones.
func (d *Doctor) rates() []int {
	if _, set := d.Settings.Given["baud"]; set || port.Kind(d.Settings.Port) != port.Device {
		return []int{d.Settings.Baud}
	}
	return port.Rates()
}

// open opens the port at a rate.
func (d *Doctor) open(ctx context.Context, baud int) (io.ReadWriteCloser, error) {
	return port.Open(ctx, port.Spec{Name: d.Settings.Port, Baud: baud})
}

// examine opens the port, asks, and closes it.
func (d *Doctor) examine(ctx context.Context) (Checkup, error) {
	if _, err := known.Words(d.Settings); err != nil {
		return Checkup{}, console.Usage(err)
	}
	call, err := d.FindRate(ctx, d.rates(), d.open)
	var taken *port.TakenError
	if errors.As(err, &taken) {
		return Checkup{}, console.Refused(fmt.Errorf("%w. %s", err, taken.Hint))
	}
	if err != nil {
		return Checkup{}, err
	}
	defer call.Sess.Close()
	late, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	e, err := known.Examine(late, call.Sess, d.Settings)
	err = errors.Join(err, d.keep(call))
	if err != nil {
		return Checkup{}, err
	}
	out := Checkup{Port: d.Settings.Port, Printer: known.Examined(d.Settings, e.Facts), Framed: call.Sess.Framed(), Proposals: e.Proposals, facts: e.Facts}
	if port.Kind(d.Settings.Port) == port.Device {
		out.Baud = call.Baud
	}
	if call.Baud != d.Settings.Baud {
		out.Proposals = append(out.Proposals, known.Proposal{Key: "baud", Value: strconv.Itoa(call.Baud), Sure: true, Why: "the printer answers at this rate"})
	}
	if stable := port.Stable(d.Settings.Port); stable != d.Settings.Port {
		out.Proposals = append(out.Proposals, known.Proposal{Key: "port", Value: stable, Sure: true, Why: "this name stays the same when the adapter is plugged in again"})
	}
	out.ask(e.Facts)
	return out, nil
}

// call is a printer that answered.
type call struct {
	Sess *gcode.Session
	Baud int
	said *bytes.Buffer // the dialogue, if it is recorded
}

// greet greets the printer on an open port.
func (d *Doctor) greet(ctx context.Context, conn io.ReadWriteCloser) (call, error) {
	c := call{}
	if d.record != "" {
		c.said = &bytes.Buffer{}
		from := fmt.Sprintf("a printer on a %s, by abbed doctor %s", port.Kind(d.Settings.Port), console.Version)
		conn = gcodetest.Record(conn, c.said, from, nil)
	}
	c.Sess = gcode.NewSession(conn, gcode.Options{Silence: d.Settings.Silence})
	if err := c.Sess.Greet(ctx); err != nil {
		return c, errors.Join(err, c.Sess.Close())
	}
	return c, nil
}

// keep writes the recorded dialogue.
func (d *Doctor) keep(c call) error {
	if d.record == "" {
		return nil
	}
	// Nothing more may be written down while the file is.
	if err := c.Sess.Close(); err != nil {
		return err
	}
	if err := os.WriteFile(d.record, c.said.Bytes(), 0o600); err != nil {
		return fmt.Errorf("doctor: keep the dialogue: %w", err)
	}
	fmt.Fprintf(d.Errs, "What was said is in %s. Read it before you share it.\n", d.record)
	return nil
}

// ask lists what was answered.
func (c *Checkup) ask(f link.Facts) {
	add := func(asked string, ok bool, said string, args ...any) {
		text := "no answer that could be understood"
		if ok {
			text = fmt.Sprintf(said, args...)
		}
		c.Answered = append(c.Answered, answered{asked, text, ok})
	}
	add("who it is", len(f.Identity.Fields) > 0, "%d fields", len(f.Identity.Fields))
	add("probe offset", f.Lever != nil, "%s mm", say.At(deref(f.Lever).X, deref(f.Lever).Y))
	add("Z offset of the probe", f.ZOffset != nil, "%s", say.Fine(deref(f.ZOffset)))
	t := deref(f.Travel)
	add("nozzle travel", f.Travel != nil, "X %.1f to %.1f, Y %.1f to %.1f, Z %.1f to %.1f mm", t.X0, t.X1, t.Y0, t.Y1, t.Z0, t.Z1)
	columns := 0
	if len(f.Map) > 0 {
		columns = len(f.Map[0])
	}
	add("bed map", len(f.Map) > 0, "%d columns, %d rows", columns, len(f.Map))
	add("levelling by the bed map", f.Levelling != nil, "on: %v", deref(f.Levelling))
	add("settings", f.Settings != "", "%d characters", len(f.Settings))
	add("temperatures", f.Temps != nil, "nozzle %s, bed %s", say.Temp(deref(f.Temps).Nozzle), say.Temp(deref(f.Temps).Bed))
}

func deref[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

// tell says what was found, for people.
func (c Checkup) tell(w io.Writer) {
	fmt.Fprintf(w, "The printer at %s answers%s.\n", c.Port, c.rate())
	for _, k := range slices.Sorted(maps.Keys(c.Printer.Identity)) {
		fmt.Fprintf(w, "  %s: %s\n", api.Called(k), c.Printer.Identity[k])
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
	if len(c.Proposals) > 0 {
		fmt.Fprintf(w, "\nTo paste into the settings file (--config FILE); fill in and uncomment the rest:\n\n%s", known.YAML(c.Proposals))
	}
}

func (c Checkup) rate() string {
	if c.Baud == 0 {
		return ""
	}
	return fmt.Sprintf(" at %d bit/s", c.Baud)
}
