package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// Demo is the job on a virtual printer.
type Demo struct {
	Scenario bench.Scenario
	seed     uint64
	Speed    float64
	once     bool
	dir      string // for results; "": none
	state    string
	listen   string
	trace    string
	faults   []bench.Fault // from the start
	later    phaseFaults   // in a phase of the job
	Out      io.Writer
	Errs     io.Writer
}

func DemoCommand() *cobra.Command {
	d := &Demo{}
	name, serial := "", false
	var faults []string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Do the whole job on a virtual printer, with a played person.",
		Long: `Puts a virtual printer at a pseudo-terminal, and runs the daemon and the page. It also plays
the person at the feeler gauge. The person feels loose, drags or tight, and nothing else.
Without --once the page stays open afterwards.

Virtual printers:
` + scenarioList() + `
Faults for --fault NAME@WHEN. WHEN is a phase of the job: ` + strings.Join(demoPhases, ", ") + `.
It may also be a command: 7 is the seventh, G30 the first touch, G30:7 the seventh touch:
` + faultList(),
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			sc, err := bench.Lookup(name)
			if err != nil {
				return console.Usage(err)
			}
			if !(d.Speed > 0 && d.Speed <= 1e4) {
				return console.Usage(fmt.Errorf("demo: --speed %v: give a number above 0, at most 10000", d.Speed))
			}
			if d.faults, d.later, err = ReadFaults(faults); err != nil {
				return console.Usage(err)
			}
			d.Scenario, d.Out, d.Errs = sc, c.OutOrStdout(), c.ErrOrStderr()
			if serial {
				return serialOnly(c, *d, name)
			}
			return d.run(c.Context())
		},
	}
	f := c.Flags()
	f.BoolVar(&d.once, "once", false, "End when the job has ended; exit 0 only if everything worked.")
	f.BoolVar(&serial, "serial", false, "Leave only the printer, for a serve of your own; it keeps real time then, as abbed bench does.")
	f.StringVar(&name, "bench", "beam-twist", "Which virtual printer.")
	f.Uint64Var(&d.seed, "seed", 1, "Of its noise and its wording.")
	f.Float64Var(&d.Speed, "speed", 60, "How much faster than real time; printer and daemon alike.")
	f.StringVar(&d.dir, "out", "", "Directory for record, analysis and table.")
	f.StringVar(&d.state, "state", "", "Directory of what is kept (default: one that is removed at the end).")
	f.StringVar(&d.listen, "listen", "127.0.0.1:0", "Address of the page.")
	f.StringArrayVar(&faults, "fault", nil, "What goes wrong, and when: NAME or NAME@WHEN; may be given again.")
	f.StringVar(&d.trace, "trace", "", "File for every line of the dialogue.")
	return c
}

// serialOnly leaves the printer at its pseudo-terminal, in real time unless told otherwise:
// a daemon that somebody starts keeps real time.
func serialOnly(c *cobra.Command, d Demo, name string) (err error) {
	for _, flag := range []string{"once", "out", "state", "listen", "fault", "trace"} {
		if c.Flags().Changed(flag) {
			return console.Usage(fmt.Errorf("demo: --%s is for the whole job, and --serial leaves only the printer", flag))
		}
	}
	if !c.Flags().Changed("speed") {
		d.Speed = 1
	}
	b := BenchPrinter{Demo: d}
	if b.Dir, err = bayDir(name); err != nil {
		return err
	}
	return b.Run(c.Context())
}

func scenarioList() string {
	var b strings.Builder
	for _, s := range bench.Scenarios() {
		fmt.Fprintf(&b, "  %-24s %s\n", s.Name, s.Says)
	}
	return b.String()
}

// run builds the printer and the house, and has the person do the job.
func (d *Demo) run(ctx context.Context) error {
	if d.state == "" {
		dir, err := os.MkdirTemp("", "abbed-demo-")
		if err != nil {
			return fmt.Errorf("demo: make a directory for what is kept: %w", err)
		}
		d.state = dir
		defer os.RemoveAll(dir)
	}
	printer := bench.New(d.Scenario, bench.Options{Seed: d.seed, Speed: d.Speed, Faults: d.faults})
	path, unplug, err := bench.Pty(printer)
	if err != nil {
		return fmt.Errorf("demo: make a pseudo-terminal: %w", err)
	}
	defer unplug()
	trace, closeTrace, err := traceTo(d.trace)
	if err != nil {
		return err
	}
	defer closeTrace()
	h, err := house.Build(ctx, house.Plan{
		Settings: DemoSettings(d.Scenario, path, d.listen, d.state), Clock: clock.Fast(d.Speed), Log: process.Logger(d.Errs, slog.LevelWarn), Trace: trace,
	})
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	var own sync.WaitGroup
	var served error
	own.Go(func() { served = h.Run(ctx) })
	fmt.Fprintf(d.Errs, "Virtual printer %q (seed %d, %g times real time): %s.\nPage: %s\n", d.Scenario.Name, d.seed, d.Speed, d.Scenario.Says, h.URL())
	if !d.once {
		link, _ := h.Access.Link(h.URL(), access.Everything)
		fmt.Fprintf(d.Errs, "To operate it from a browser, open this link once: %s\n", link)
	}
	err = d.job(ctx, h, printer)
	if err == nil && !d.once {
		fmt.Fprintln(d.Errs, "The job is done; the page stays open. Ctrl-C ends the demo.")
		<-ctx.Done()
	}
	end()
	own.Wait()
	return errors.Join(err, served)
}

// job has the person do the job and compares with what the printer knows.
func (d *Demo) job(ctx context.Context, h *house.House, printer *bench.Printer) error {
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		return fmt.Errorf("demo: read the token: %w", err)
	}
	p := &Person{
		API:  client.New(h.URL(), strings.TrimSpace(string(token))),
		Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(d.seed, 0x9a06e)), say: d.Errs, Name: "the demo's person",
		Answer: GaugesMore(6),
	}
	p.Seen, p.Phase = d.later.StrikeAt(printer, p.tell)
	began := time.Now()
	done, err := d.ToTheEnd(ctx, p, printer)
	if done != nil && d.dir != "" {
		err = errors.Join(err, done.Save(d.dir))
	}
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	done.Tell(d.Out)
	fmt.Fprintf(d.Errs, "Took %.1f s.\n", time.Since(began).Seconds())
	return nil
}

// mapsAtMost is how often the person has the map measured anew before giving up:
// with one touch in fifty astray two maps of 25 nodes in five hold a wild one.
const mapsAtMost = 10

// ToTheEnd has the person do the job and compares it with what the printer knows;
// where the stored map is refused, they do what the refusal says: let the printer
// measure it anew, and run again. A map of a scenario that is stale on purpose
// stays refused.
func (d *Demo) ToTheEnd(ctx context.Context, p *Person, printer *bench.Printer) (*ask.Outcome, error) {
	for maps := 1; ; maps++ {
		done, err := p.WholeJob(ctx)
		if err != nil {
			return done, err
		}
		if err := d.compare(done, printer); err != nil {
			return done, err
		}
		if !d.Scenario.Table || done.Table.Digest != nil {
			return done, nil
		}
		if maps == mapsAtMost {
			return done, fmt.Errorf("%d maps in a row were refused", maps)
		}
		p.tell("no table: %s The printer measures its map again", done.Table.Refused.Text)
		printer.MeasureMap()
	}
}

// DemoSettings are what the owner of the virtual printer would set.
func DemoSettings(sc bench.Scenario, port, listen, state string) config.Settings {
	s := config.Default()
	s.Port, s.Listen, s.State = port, listen, state
	s.Bed = &config.Rect{X0: sc.Bed.X0, Y0: sc.Bed.Y0, X1: sc.Bed.X1, Y1: sc.Bed.Y1}
	s.MapArea = &config.Rect{X0: sc.Area.X0, Y0: sc.Area.Y0, X1: sc.Area.X1, Y1: sc.Area.Y1}
	s.ZeroAt = &config.XY{X: sc.Zero[0], Y: sc.Zero[1]}
	s.Layout = sc.Layout
	if sc.Straight38 {
		s.Probe = config.Probe{Style: config.StyleStraight}
	}
	if sc.TouchRaw {
		s.Probe.AddsOffset = false
	}
	if len(sc.Unknown) > 0 {
		s.Travel = &config.Rect{X0: sc.Travel.Min[0], Y0: sc.Travel.Min[1], X1: sc.Travel.Max[0], Y1: sc.Travel.Max[1]}
	}
	if sc.Straight38 || sc.Trigger == 0 || len(sc.Unknown) > 0 {
		trigger := sc.Trigger
		s.Trigger = &trigger
		s.Lever = &config.XY{X: sc.Lever[0], Y: sc.Lever[1]}
	}
	return s
}

func traceTo(name string) (func(dir, line string), func() error, error) {
	if name == "" {
		return nil, func() error { return nil }, nil
	}
	f, err := os.Create(name)
	if err != nil {
		return nil, nil, console.Usage(fmt.Errorf("demo: --trace: %w", err))
	}
	var mu sync.Mutex
	began := time.Now()
	return func(dir, line string) {
		mu.Lock()
		defer mu.Unlock()
		fmt.Fprintf(f, "%9.4f %s %s\n", time.Since(began).Seconds(), dir, line)
	}, f.Close, nil
}
