package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

// benchPrinter is a virtual printer alone, for trying a daemon that was installed.
type benchPrinter struct {
	demo
	dir     string // of its port and its socket
	operate string // name of the printer whose daemon the played person uses; "": nobody plays
	dirs    []string
}

func benchCommand() *cobra.Command {
	b := &benchPrinter{dirs: []string{settingsDir(true), settingsDir(false)}}
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
				return usage(err)
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
				return usage(fmt.Errorf("bench %s: a word is for --feel", args[0]))
			}
			b.dir = dir
			if !(b.speed > 0 && b.speed <= 1e4) {
				return usage(fmt.Errorf("bench: --speed %v: give a number above 0, at most 10000", b.speed))
			}
			b.scenario, b.out, b.errs = sc, c.OutOrStdout(), c.ErrOrStderr()
			return b.run(c.Context())
		},
	}
	f := c.Flags()
	f.StringVar(&name, "bench", "beam-twist", "Which virtual printer.")
	f.Uint64Var(&b.seed, "seed", 1, "Of its noise and its wording.")
	f.Float64Var(&b.speed, "speed", 1, "How much faster than real time the printer is; the daemon stays in real time.")
	f.BoolVar(&feel, "feel", false, "Be the hand at the virtual printer that another terminal has started.")
	f.StringVar(&dir, "dir", "", "Where port and socket of the virtual printer are; by default a directory of its name in the user's cache.")
	f.StringVar(&b.operate, "operate", "", "Have a played person do the job with the daemon of this printer.")
	return c
}

// run offers the printer until the context or the job ends.
func (b *benchPrinter) run(ctx context.Context) error {
	printer := bench.New(b.scenario, bench.Options{Seed: b.seed, Speed: b.speed})
	at := &bay{dir: b.dir, printer: printer}
	open, end := context.WithCancel(ctx)
	wait, err := at.open(open)
	if err != nil {
		end()
		return err
	}
	defer wait()
	defer end()
	path := at.port()
	fmt.Fprintln(b.out, path)
	fmt.Fprintln(b.out, b.owners(path))
	if b.operate == "" {
		<-ctx.Done()
		return nil
	}
	api, err := b.find(ctx, path)
	if err != nil {
		return err
	}
	p := &person{api: api, feel: printer.Blade, rnd: rand.New(rand.NewPCG(b.seed, 0x9a06e)), say: b.errs, name: "the bench's person"}
	done, err := b.toTheEnd(ctx, p, printer)
	if err != nil {
		return fmt.Errorf("bench: %w", err)
	}
	done.tell(b.out)
	return nil
}

// owners are the flags for what the owner of this printer would know.
func (b *benchPrinter) owners(path string) string {
	s := demoSettings(b.scenario, path, "", "")
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
func (b *benchPrinter) find(ctx context.Context, path string) (*client.Client, error) {
	ctx, end := context.WithTimeout(ctx, patienceForDaemon)
	defer end()
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	last := errors.New("it was never looked for")
	for {
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("bench: the daemon of %s is not ready: %w", b.operate, last)
		case <-tick.C:
		}
		var a *client.Client
		if a, last = b.ready(ctx, path); last == nil {
			return a, nil
		}
		var other *otherPrinter
		if errors.As(last, &other) {
			return nil, refused(last)
		}
	}
}

// otherPrinter says that a daemon is beside another printer.
type otherPrinter struct{ name, port string }

func (o *otherPrinter) Error() string {
	return fmt.Sprintf("bench: the daemon of %s is beside %s, which is not this virtual printer: no person is played there", o.name, o.port)
}

// ready returns a client if the daemon and its printer are ready.
func (b *benchPrinter) ready(ctx context.Context, path string) (*client.Client, error) {
	k := caller{printer: b.operate, dirs: b.dirs}
	if err := k.find(); err != nil {
		return nil, err
	}
	token, err := readToken(k.token)
	if err != nil {
		return nil, err
	}
	a := client.New(k.url, token)
	p, err := a.Printer(ctx)
	if err != nil {
		return nil, err
	}
	if p.Port != path {
		return nil, &otherPrinter{b.operate, p.Port}
	}
	if p.Link != api.Ready {
		return nil, errors.New(p.Sentence)
	}
	return a, nil
}
