package demo

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

// BenchPrinter is a virtual printer alone, for trying a daemon that was installed.
type BenchPrinter struct {
	Demo
	Dir     string // of its port and its socket
	Operate string // name of the printer whose daemon the played person uses; "": nobody plays
	Dirs    []string
}

func BenchCommand() *cobra.Command {
	b := &BenchPrinter{Dirs: []string{console.SettingsDir(true), console.SettingsDir(false)}}
	name, dir, feel := "", "", false
	c := &cobra.Command{
		Use:   "bench [--feel [WORD]]",
		Short: "Put a virtual printer at a pseudo-terminal, and feel it.",
		Long: `Puts a virtual printer at a pseudo-terminal. The first line is the name of the near end. The
second line holds the flags for what its owner knows. Set it up with abbed setup NAME --port
and that name, and serve it.

In a second terminal, abbed bench --feel is the hand at this printer. Enter says what the
feeler gauge feels: loose, drags or tight. Type reset, unplug, plug or measure (its bed map
again), there or in place of WORD.

With --operate NAME a played person does the whole job with the daemon of the printer NAME.
Exit 0 says that everything worked. Name only a daemon whose printer is this one.

The virtual printers are those of abbed demo --help.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			sc, err := bench.Lookup(name)
			if err != nil {
				return console.Usage(err)
			}
			if dir == "" {
				if dir, err = bayDir(name); err != nil {
					return err
				}
			}
			if feel {
				return feelBay(dir, strings.Join(args, ""), c.InOrStdin(), c.OutOrStdout())
			}
			if len(args) > 0 {
				return console.Usage(fmt.Errorf("bench %s: a word is for --feel", args[0]))
			}
			b.Dir = dir
			if !(b.Speed > 0 && b.Speed <= 1e4) {
				return console.Usage(fmt.Errorf("bench: --speed %v: give a number above 0, at most 10000", b.Speed))
			}
			b.Scenario, b.Out, b.Errs = sc, c.OutOrStdout(), c.ErrOrStderr()
			return b.Run(c.Context())
		},
	}
	f := c.Flags()
	f.StringVar(&name, "bench", "beam-twist", "Which virtual printer.")
	f.Uint64Var(&b.seed, "seed", 1, "Of its noise and its wording.")
	f.Float64Var(&b.Speed, "speed", 1, "How much faster than real time the printer is; the daemon stays in real time.")
	f.BoolVar(&feel, "feel", false, "Be the hand at the virtual printer that another terminal has started.")
	f.StringVar(&dir, "dir", "", "Where port and socket of the virtual printer are; by default a directory of its name in the user's cache.")
	f.StringVar(&b.Operate, "operate", "", "Have a played person do the job with the daemon of this printer.")
	return c
}

// Run offers the printer until the context or the job ends.
func (b *BenchPrinter) Run(ctx context.Context) error {
	printer := bench.New(b.Scenario, bench.Options{Seed: b.seed, Speed: b.Speed})
	at := &Bay{Dir: b.Dir, Printer: printer}
	open, end := context.WithCancel(ctx)
	wait, err := at.Open(open)
	if err != nil {
		end()
		return err
	}
	defer wait()
	defer end()
	path := at.Port()
	fmt.Fprintln(b.Out, path)
	fmt.Fprintln(b.Out, b.owners(path))
	if b.Operate == "" {
		<-ctx.Done()
		return nil
	}
	api, err := b.find(ctx, path)
	if err != nil {
		return err
	}
	p := &Person{API: api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(b.seed, 0x9a06e)), say: b.Errs, Name: "the bench's person"}
	done, err := b.ToTheEnd(ctx, p, printer)
	if err != nil {
		return fmt.Errorf("bench: %w", err)
	}
	done.Tell(b.Out)
	return nil
}

// owners are the flags for what the owner of this printer would know.
func (b *BenchPrinter) owners(path string) string {
	s := DemoSettings(b.Scenario, path, "", "")
	flags := []string{"--bed", s.Bed.String(), "--map-area", s.MapArea.String(), "--zero-at", s.ZeroAt.String(), "--layout", s.Layout}
	if s.Lever != nil {
		flags = append(flags, "--lever", s.Lever.String(), "--trigger", fmt.Sprint(*s.Trigger))
	}
	if s.Travel != nil {
		flags = append(flags, "--travel", s.Travel.String())
	}
	flags = append(flags, "--set", "probe.style="+s.Probe.Style, "--set", fmt.Sprintf("probe.adds_offset=%v", s.Probe.AddsOffset))
	return strings.Join(flags, " ")
}

// patienceForDaemon is how long somebody may take to set the printer up.
const patienceForDaemon = 10 * time.Minute

// find waits until the daemon of the printer is there, and is sure that its
// printer is this one: else a person would be played at a real machine.
func (b *BenchPrinter) find(ctx context.Context, path string) (*client.Client, error) {
	ctx, end := context.WithTimeout(ctx, patienceForDaemon)
	defer end()
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	last := errors.New("it was never looked for")
	for {
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("bench: the daemon of %s is not ready: %w", b.Operate, last)
		case <-tick.C:
		}
		var a *client.Client
		if a, last = b.ready(ctx, path); last == nil {
			return a, nil
		}
		var other *otherPrinter
		if errors.As(last, &other) {
			return nil, console.Refused(last)
		}
	}
}

// otherPrinter says that a daemon is beside another printer.
type otherPrinter struct{ name, port string }

func (o *otherPrinter) Error() string {
	return fmt.Sprintf("bench: the daemon of %s is beside %s, which is not this virtual printer: no person is played there", o.name, o.port)
}

// ready returns a client if the daemon and its printer are ready.
func (b *BenchPrinter) ready(ctx context.Context, path string) (*client.Client, error) {
	k := ask.Caller{Printer: b.Operate, Dirs: b.Dirs}
	if err := k.Find(); err != nil {
		return nil, err
	}
	token, err := ask.ReadToken(k.Token)
	if err != nil {
		return nil, err
	}
	a := client.New(k.URL, token)
	p, err := a.Printer(ctx)
	if err != nil {
		return nil, err
	}
	if p.Port != path {
		return nil, &otherPrinter{b.Operate, p.Port}
	}
	if p.Link != api.Ready {
		return nil, errors.New(p.Sentence)
	}
	return a, nil
}
