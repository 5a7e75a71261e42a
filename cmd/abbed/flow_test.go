package main

import (
	"context"
	"flag"
	"log/slog"
	"math/rand/v2"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"

	"abbed/daemon/access"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

var flows = flag.Bool("flow", false, "the whole job in a browser in every window, and what goes wrong in it (two minutes)")

// flowSpeed is how much faster than real time the printer and the daemon are.
const flowSpeed = 120

// shop is a virtual printer on a pseudo-terminal with the house, to be looked
// at in a browser over a line that can be cut.
type shop struct {
	t       *testing.T
	house   *house
	printer *bench.Printer
	line    *flowLine
	rnd     *rand.Rand
}

func openShop(t *testing.T, scenario string) *shop {
	t.Helper()
	sc, err := bench.Lookup(scenario)
	if err != nil {
		t.Fatal(err)
	}
	s := &shop{t: t, printer: bench.New(sc, bench.Options{Seed: 1, Speed: flowSpeed}), rnd: rand.New(rand.NewPCG(1, 3))}
	path, unplug, err := bench.Pty(s.printer)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.line = &flowLine{Listener: l}
	s.house, err = build(t.Context(), plan{
		settings: demoSettings(sc, path, l.Addr().String(), t.TempDir()), clock: clock.Fast(flowSpeed), listener: s.line,
		log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var running sync.WaitGroup
	running.Go(func() {
		if err := s.house.run(ctx); err != nil {
			t.Errorf("the house: %v", err)
		}
	})
	t.Cleanup(func() { end(); running.Wait(); unplug() })
	return s
}

// flowLine is a line to the house that can be cut: while it is, what comes is
// broken off.
type flowLine struct {
	net.Listener
	mu   sync.Mutex
	cut  bool
	open []net.Conn
}

func (l *flowLine) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		if !l.cut {
			l.open = append(l.open, c)
			l.mu.Unlock()
			return c, nil
		}
		l.mu.Unlock()
		_ = c.Close()
	}
}

func (l *flowLine) set(cut bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = cut
	if cut {
		for _, c := range l.open {
			_ = c.Close()
		}
		l.open = nil
	}
}

// enter lets a window in by the one-time link.
func (s *shop) enter(w *window) {
	link, _ := s.house.access.Link(s.house.url(), access.Everything)
	w.open(link)
	w.see("enter")
	w.press(`button.main`)
	w.until(`location.pathname === '/'`)
}

// start prepares and confirms a run as the overview offers it.
func (s *shop) start(w *window) {
	w.until(`document.querySelector('form[action="/do/run"] button.main:not(:disabled)') !== null`)
	w.see("overview")
	w.press(`form[action="/do/run"] button.main`)
	w.reads("Before anything moves")
	w.see("confirm")
	w.tickAll()
	w.write(`input[name=person]`, "Ida")
	w.see("confirm-ticked")
	w.press(`form[action$="/confirm"] button.main`)
}

// feel is what the hand at the blade feels, mm.
func (s *shop) feel() float64 { return s.printer.Blade(0.10) }

// gauge does the person's part until the run goes on without them: records
// places until done says so.
func (s *shop) gauge(w *window) {
	seen := map[string]bool{}
	see := func(name string) {
		if !seen[name] {
			seen[name] = true
			w.see(name)
		}
	}
	for {
		w.until(`!document.querySelector('main button[name=press]:disabled') || !!document.querySelector('main button[name=press]:not(:disabled)')`)
		switch {
		case w.has(`button[value=next]`):
			see("next")
			w.press(`button[value=next]`)
			w.until(`!document.querySelector('button[value=next]')`)
		case w.has(`button[value=record]`):
			see("blade")
			s.bringDown(w)
		default:
			return
		}
		w.until(`!!document.querySelector('button[value=next], button[value=record]') || document.body.innerText.includes('survey') && !document.querySelector('[data-part=step]').dataset.key.startsWith('awaiting') && document.querySelector('.stages .now').innerText.indexOf('gauge') < 0`)
	}
}

// bringDown lowers by the buttons that are offered until the blade drags, and
// records.
func (s *shop) bringDown(w *window) {
	call := s.rnd.NormFloat64() * handScatter
	for s.feel() > call {
		z := look[string](w, `document.querySelector('.big').innerText`)
		room := s.feel() - call
		pick := "button.lower:not(:disabled)"
		if room < 0.03 {
			pick = "button.lower:not(:disabled):last-of-type"
		}
		w.press(pick)
		w.until(`!document.querySelector('.big') || document.querySelector('.big').innerText !== ` + strconv.Quote(strings.TrimSpace(z)))
		if !w.has(`button[value=record]`) {
			return
		}
	}
	w.press(`button[value=record]`)
	w.until(`!!document.querySelector('button[value=next]')`)
}

// TestFlow does the whole job in a phone's window as a person would.
func TestFlow(t *testing.T) {
	s := openShop(t, "beam-twist")
	w := newWindow(t, newBrowser(t), phone, "flow")
	s.whole(w)
}

func (s *shop) whole(w *window) {
	s.enter(w)
	s.start(w)
	w.reads("So far")
	w.see("steady")
	w.until(`!!document.querySelector('button[value=record]')`)
	s.gauge(w)
	w.see("survey")
	w.reads("See the findings")
	w.see("over")
	w.press(`.card a.main`)
	w.reads("Decide")
	w.see("results")
	w.press(`#decide a.main`)
	w.reads("Review the correction")
	w.see("review")
	w.tickAll()
	w.write(`input[name=person]`, "Ida")
	w.see("review-ticked")
	w.press(`form[action$="/signoff"] button.main`)
	w.reads("Signed off by Ida")
	w.see("signed")
	w.press(`form[action^="/do/apply"] button.main`)
	w.until(`location.pathname === '/applied' && document.readyState === 'complete'`)
	w.see("writing")
	w.reads("Unproved")
	w.see("kept")
}
