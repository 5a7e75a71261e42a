package e2e_test

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/access"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

var flows = flag.Bool("flow", false, "the whole job in a browser in every window, and what goes wrong in it (a minute)")

// flowSpeed is how much faster than real time the printer and the daemon are.
const flowSpeed = 300

// shop is a virtual printer on a pseudo-terminal with the house, to be looked
// at in a browser over a line that can be cut.
type shop struct {
	t       *testing.T
	house   *house.House
	printer *bench.Printer
	line    *flowLine
	link    func() string // one that lets a window in
	rnd     *rand.Rand
}

func openShop(t *testing.T, scenario string, change ...func(*config.Settings)) *shop {
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
	settings := demo.DemoSettings(sc, path, "127.0.0.1:0", t.TempDir())
	settings.Gauging.Idle = 30 * time.Minute // a browser is slow for a person who lives so fast
	for _, c := range change {
		c(&settings)
	}
	l, err := net.Listen("tcp", settings.Listen)
	if err != nil {
		t.Fatal(err)
	}
	s.line, settings.Listen = &flowLine{Listener: l}, l.Addr().String()
	s.house, err = house.Build(t.Context(), house.Plan{
		Settings: settings, Clock: clock.Fast(flowSpeed), Listener: s.line,
		Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		t.Fatal(err)
	}
	s.link = func() string {
		link, _ := s.house.Access.Link(s.house.URL(), access.Everything)
		return link
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var running sync.WaitGroup
	running.Go(func() {
		if err := s.house.Run(ctx); err != nil {
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
	w.open(s.link())
	w.see("enter")
	w.press(`button.main`)
	w.until(`location.pathname === '/'`)
}

// start prepares and confirms a run as the overview offers it.
func (s *shop) start(w *window) {
	w.until(`document.querySelector('form[action="/do/run"] button.main:not(:disabled)') !== null`)
	w.see("overview")
	w.press(`form[action="/do/run"] button.main`)
	w.reads("Go to the printer and look")
	w.see("confirm")
	w.tickAll()
	w.write(`input[name=person]`, "Ida")
	w.see("confirm-ticked")
	w.press(`form[action$="/confirm"] button.main`)
}

// feel is how far the nozzle is above the gauge, mm.
func (s *shop) feel() float64 { return s.printer.Blade(0.10) }

// gauge does the person's part until the run goes on without them.
func (s *shop) gauge(w *window) {
	seen := map[string]bool{}
	see := func(name string) {
		if !seen[name] {
			seen[name] = true
			w.see(name)
		}
	}
	call := s.rnd.NormFloat64() * demo.HandScatter // where this hand begins to feel a drag, mm
	for {
		w.until(`!document.querySelector('.answers') || !!document.querySelector('.answers button:not(:disabled)')`)
		switch {
		case w.has(`.answers button[value=next]`):
			see("next")
			s.say(w, "next")
		case w.has(`.answers`):
			see("gauge")
			answer := s.feels(call)
			if s.say(w, answer); answer == "drags" {
				call = s.rnd.NormFloat64() * demo.HandScatter
			}
		case w.has(`button[name=answer][value=no]`):
			w.press(`button[name=answer][value=no]`)
			w.until(`!document.querySelector('button[name=answer]')`)
		default:
			return
		}
	}
}

// feels is what a hand feels that calls it a drag from call on.
func (s *shop) feels(call float64) string {
	switch gap := s.feel(); {
	case gap > call:
		return "loose"
	case gap >= call-demo.DragBand:
		return "drags"
	}
	return "tight"
}

// say gives one answer, and waits until it was carried out.
func (s *shop) say(w *window, answer string) {
	sent := look[int](w, `window.sent ?? (addEventListener('submit', () => window.sent++, true), window.sent = 0)`)
	w.press(`.answers button[value=` + answer + `]`)
	w.until(fmt.Sprintf(`window.sent > %d && !document.documentElement.matches('.moves')`, sent))
}

// TestFlow does the whole job in a phone's window as a person would: measured,
// gauged, reviewed, signed off, written, read back, undone.
func TestFlow(t *testing.T) {
	s := openShop(t, "beam-twist", brisk)
	w := newWindow(t, newBrowser(t), phone, "flow")
	s.measure(w)
	s.correct(w)
	s.undo(w)
}

// brisk measures as little as still shows the twist.
func brisk(c *config.Settings) {
	c.Repeat.RowStep = 6
	c.Survey.Columns, c.Survey.Rows = 7, 3
}

// measure does a run up to its findings.
func (s *shop) measure(w *window) {
	s.enter(w)
	s.start(w)
	w.reads("again and again")
	w.see("steady")
	w.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	s.gauge(w)
	w.see("survey")
	w.reads("See the findings")
	w.see("over")
	w.press(`.card a.main`)
	w.arrives("/results")
	w.reads("What to do")
	w.see("results")
}

// correct signs the offered table off and has it written.
func (s *shop) correct(w *window) {
	before := s.printer.Nodes()
	w.press(`#decide a.main`)
	w.arrives("/review")
	w.reads("The nozzle goes")
	w.see("review")
	w.tickAll()
	w.write(`input[name=person]`, "Ida")
	w.see("review-ticked")
	w.press(`form[action$="/signoff"] button.main`)
	w.reads("Approved by Ida")
	w.see("signed")
	w.press(`form[action^="/do/apply"] button.main`)
	w.arrives("/applied")
	w.see("writing")
	w.reads("Verify it at the feeler gauge")
	w.see("kept")
	if reflect.DeepEqual(before, s.printer.Nodes()) {
		w.t.Error("the printer's map is as it was")
	}
}

// undo writes the old map back.
func (s *shop) undo(w *window) {
	w.press(`form[action="/do/undo"] button`)
	w.until(`location.pathname === '/applied' && !document.querySelector('form[action="/do/undo"]')`)
	w.reads("Measure again")
	w.see("undone")
}

// prove has the correction proved at the feeler gauge.
func (s *shop) prove(w *window) {
	w.press(`form[action="/do/prove"] button`)
	w.reads("Go to the printer and look")
	w.see("prove-confirm")
	w.tickAll()
	w.write(`input[name=person]`, "Ida")
	w.press(`form[action$="/confirm"] button.main`)
	w.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	s.gauge(w)
	w.until(`!!document.querySelector('[data-key^="done"]')`)
	w.see("prove-over")
	w.press(`nav a[href="/applied"]`)
	w.arrives("/applied")
	w.reads("erified")
	w.see("proved")
}

func long(t *testing.T) {
	if !*flows {
		t.Skip("long: -flow")
	}
	t.Parallel() // each has a printer, a house and a browser of its own, and mostly waits
}

// TestFlowDesktop does the same with a mouse on a desk, and proves it.
func TestFlowDesktop(t *testing.T) {
	long(t)
	s := openShop(t, "beam-twist")
	w := newWindow(t, newBrowser(t), desktop, "desk")
	s.measure(w)
	s.correct(w)
	s.prove(w)
	s.undo(w)
	w.press(`nav a[href="/printer"]`)
	w.arrives("/printer")
	w.reads("this device")
	w.see("printer")
	w.press(`form[action="/do/pair"] button`)
	w.arrives("/do/pair")
	w.reads("with the other device")
	w.see("devices")
}

// TestFlowNetwork does it, up to the verified correction, from a phone in the network: by an
// address of this machine that is not the loopback, with the certificate that abbed makes,
// whose key the phone's person has compared.
func TestFlowNetwork(t *testing.T) {
	long(t)
	all, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	at := ""
	for _, a := range all {
		if ip := a.(*net.IPNet).IP; ip.To4() != nil && ip.IsGlobalUnicast() {
			at = ip.String()
		}
	}
	if at == "" {
		t.Skip("this machine is in no network")
	}
	s := openShop(t, "twist-level", brisk, func(c *config.Settings) {
		c.Access.From, c.Listen, c.Name = config.FromPhone, at+":0", "left"
	})
	w := newWindow(t, newBrowser(t, trusts(t, s.house.Phone.State)), phone, "network")
	began := time.Now()
	s.measure(w)
	s.correct(w)
	s.prove(w)
	t.Logf("%s: %d screens, %.0f s", s.house.URL(), w.shots, time.Since(began).Seconds())
}

// trusts has a browser take the certificate that abbed made for itself, as a person does who
// has compared its fingerprint.
func trusts(t *testing.T, state string) chromedp.ExecAllocatorOption {
	t.Helper()
	text, err := os.ReadFile(access.OwnFiles(state).Certificate)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(text)
	cert, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	key := sha256.Sum256(cert.RawSubjectPublicKeyInfo)
	return chromedp.Flag("ignore-certificate-errors-spki-list", base64.StdEncoding.EncodeToString(key[:]))
}

// TestFlowSetup is a new user's whole way: the set-up on a terminal, where a phone is wanted,
// the code that it draws, and the job in the phone's window over the network up to the
// verified correction.
func TestFlowSetup(t *testing.T) {
	if !*flows {
		t.Skip("long: -flow")
	}
	sc := lookup(t, "twist-level")
	s := &shop{t: t, printer: bench.New(sc, bench.Options{Seed: 1, Speed: 100}), rnd: rand.New(rand.NewPCG(1, 3))}
	path, unplug, err := bench.Pty(s.printer)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unplug() })
	began := time.Now()
	set, link, out := begun(t, path, "0,0,235,235\n12,52,223,223\n\n1\nyes\nyes\n")
	t.Logf("set up after %.0f s:\n%s", time.Since(began).Seconds(), out)
	s.link = func() string { return link }
	w := newWindow(t, newBrowser(t, trusts(t, loaded(t, set.Done.File).State)), phone, "setup")
	s.measure(w)
	s.correct(w)
	s.prove(w)
	t.Logf("%d screens, %d touches, %.0f s", w.shots, s.printer.Safety().Touches, time.Since(began).Seconds())
}

// TestFlowSmall does it on the smallest phone, up to the findings.
func TestFlowSmall(t *testing.T) {
	long(t)
	s := openShop(t, "beam-twist", brisk)
	w := newWindow(t, newBrowser(t), small, "small")
	s.measure(w)
	s.correct(w)
}

// TestFlowTwoDevices: a second device, let in by a link of its own, sees the
// same, and takes over at the feeler gauge.
func TestFlowTwoDevices(t *testing.T) {
	long(t)
	s := openShop(t, "beam-twist", brisk)
	browser := newBrowser(t)
	one, two := newWindow(t, browser, phone, "one"), newWindow(t, browser, desktop, "two")
	s.enter(one)
	s.start(one)
	one.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	s.enter(two)
	two.press(`[data-part=active] a.main`)
	two.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	two.see("gauge")
	if a, b := look[string](one, `document.querySelector('.at').innerText`), look[string](two, `document.querySelector('.at').innerText`); a != b {
		t.Errorf("one reads %q, the other %q", a, b)
	}
	for look[bool](two, `!document.querySelector('button[value=next]')`) {
		s.say(two, s.feels(0))
	}
	one.until(`!!document.querySelector('button[value=next]:not(:disabled)')`)
	one.see("next-by-the-other")
	s.say(one, "next")
	two.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	s.gauge(two)
	one.reads("See the findings")
}

// TestFlowStop: a stop is asked for over a line that is cut: it goes out as soon
// as the line is back, and the run says what became of it.
func TestFlowStop(t *testing.T) {
	long(t)
	s := openShop(t, "beam-twist", brisk)
	w := newWindow(t, newBrowser(t), phone, "stop")
	s.enter(w)
	s.start(w)
	w.until(`!!document.querySelector('button[value=drags]:not(:disabled)')`)
	s.line.set(true)
	w.reads("No connection since")
	w.see("no-connection")
	if w.has(`button[name=press]:not(:disabled)`) {
		t.Error("over a line that is cut the machine can be told to move")
	}
	w.press(`button.stop`)
	w.reads("attempt 2")
	w.see("stop-tried")
	s.line.set(false)
	w.reads("The stop request went out at")
	w.until(`document.querySelector('[data-part=step]').dataset.key.startsWith('stopped')`)
	w.see("stopped")
	if f := s.printer.Safety(); f.Homed || f.Halts == 0 {
		t.Errorf("the printer never got it: homed %v, halted %d times", f.Homed, f.Halts)
	}
}

// TestFlowRefusal: a loose carriage ends the run by itself; no correction is
// offered, and why is said.
func TestFlowRefusal(t *testing.T) {
	long(t)
	s := openShop(t, "loose-carriage")
	w := newWindow(t, newBrowser(t), phone, "refusal")
	s.enter(w)
	s.start(w)
	w.reads("See the findings")
	w.see("over")
	w.press(`.card a.main`)
	w.arrives("/results")
	w.reads("Not possible")
	w.see("results")
	if w.has(`#decide a.main`) {
		t.Error("a review is offered all the same")
	}
}
