package setup_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/spf13/pflag"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/setup"
	"abbed/config"
	"abbed/gcode/bench"
	"abbed/gcode/port"
)

// plugged starts a virtual printer and returns its port.
func plugged(t *testing.T, name string) (string, *bench.Printer) {
	t.Helper()
	sc, err := bench.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	p := bench.New(sc, bench.Options{Seed: 3, Speed: 20})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { _ = stop() })
	return path, p
}

// asking is a set-up with a person's answers; what it says goes to out.
func asking(t *testing.T, name, answers string, out *bytes.Buffer, flags ...string) *setup.Setup {
	t.Helper()
	t.Setenv("HOME", t.TempDir())
	dir := t.TempDir()
	s := &setup.Setup{Name: name, Dir: filepath.Join(dir, "etc"), In: bufio.NewReader(strings.NewReader(answers)), Asks: true, Errs: out,
		Plugs: func() []port.Adapter { return nil }, Flags: pflag.NewFlagSet("setup", pflag.ContinueOnError)}
	config.AddFlags(s.Flags, setup.SetupKeys...)
	if err := s.Flags.Parse(flags); err != nil {
		t.Fatal(err)
	}
	return s
}

func loaded(t *testing.T, file string) config.Settings {
	t.Helper()
	got, err := config.Load(config.Options{File: file, Environ: []string{}})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// TestSetupAsks: a printer that says everything of itself is asked nothing twice:
// the person says only what no printer can, a wrong answer is asked again, and
// the file makes every step possible.
func TestSetupAsks(t *testing.T) {
	path, printer := plugged(t, "healthy")
	var out bytes.Buffer
	s := asking(t, "left", "0,0,235\n0,0,235,235\n30,30,205,205\n\n1\nno\n", &out, "--port", path)
	if err := s.Run(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	got := loaded(t, s.Done.File)
	if got.Port != path || *got.Bed != (config.Rect{X1: 235, Y1: 235}) || *got.MapArea != (config.Rect{X0: 30, Y0: 30, X1: 205, Y1: 205}) || got.Layout != config.MovingBed {
		t.Errorf("the file says %+v", got)
	}
	if got.Lever != nil || got.Travel != nil || got.Trigger != nil || got.ZeroAt != nil {
		t.Errorf("set although the printer says it, or nobody did: %v", got.Given)
	}
	if len(s.Done.Open) > 0 {
		t.Errorf("left open: %v", s.Done.Open)
	}
	if n := strings.Count(out.String(), "? "); n > 6 || strings.Contains(out.String(), "does not say") {
		t.Errorf("too many questions:\n%s", &out)
	}
	if !strings.Contains(out.String(), "has 3 numbers") {
		t.Errorf("the wrong answer was not told:\n%s", &out)
	}
	for name, why := range s.Done.Steps {
		if slices.Contains([]string{"repeat", "gauging", "survey"}, name) && why != "" {
			t.Errorf("%s: %s", name, why)
		}
	}
	if s := printer.Safety(); s.Touches > 0 || s.Unhomed > 0 || s.Halts > 0 {
		t.Errorf("the printer was moved: %+v", s)
	}
}

// TestSetupOverwritesNothing: neither files that are there nor, with --replace,
// what they held.
func TestSetupOverwritesNothing(t *testing.T) {
	path, _ := plugged(t, "healthy")
	var out bytes.Buffer
	s := asking(t, "left", "", &out, "--port", path, "--bed", "0,0,235,235")
	s.Asks, s.Untried = false, true
	if err := os.MkdirAll(s.Dir, 0o755); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(s.Dir, "left.yaml")
	if err := os.WriteFile(file, []byte("layer: 0.3\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var e *console.Exit
	if err := s.Run(t.Context()); !errors.As(err, &e) || e.Code != console.ExitUsage || !strings.Contains(err.Error(), "--replace") {
		t.Errorf("over a file that is there: %v", err)
	}
	if got := loaded(t, file); got.Layer != 0.3 {
		t.Error("it was overwritten")
	}
	s.Replace = true
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := loaded(t, file); got.Port != path || got.Name != "left" || got.Layer != 0.3 {
		t.Errorf("what was set before is gone, or not replaced: %v", got.Given)
	}
	if was := loaded(t, file+".before"); was.Layer != 0.3 {
		t.Error("the old one was not kept")
	}
}

// TestSetupEnds: a signal ends a question that nobody answers, and nothing is written.
func TestSetupEnds(t *testing.T) {
	path, _ := plugged(t, "healthy")
	for _, question := range []string{"adapter", "edges of the bed"} {
		var out heard
		s := asking(t, "left", "", &bytes.Buffer{}, "--port", path)
		s.Errs = &out
		silent, hold := io.Pipe() // a terminal at which nobody types
		defer hold.Close()
		s.In = bufio.NewReader(silent)
		if question == "adapter" {
			s = asking(t, "left", "", &bytes.Buffer{})
			s.Errs, s.In = &out, bufio.NewReader(silent)
		}
		ctx, end := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- s.Run(ctx) }()
		for !strings.Contains(out.String(), question) {
			runtime.Gosched()
		}
		end()
		select {
		case err := <-done:
			if err == nil || !strings.Contains(err.Error(), "nothing was written") {
				t.Errorf("%s: %v", question, err)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%s: the set-up goes on waiting", question)
		}
		if _, err := os.Stat(s.Done.File); err == nil {
			t.Errorf("%s: a file was written", question)
		}
	}
}

// TestSetupRefuses: what cannot be done says what to do, and writes nothing.
func TestSetupRefuses(t *testing.T) {
	path, _ := plugged(t, "healthy")
	one := []port.Adapter{{Device: "/dev/ttyUSB9", ByID: "/dev/serial/by-id/usb-x-if00-port0", Serial: "7"}}
	two := append(slices.Clone(one), port.Adapter{Device: "/dev/ttyACM9", ByPath: "/dev/serial/by-path/p-1.2"})
	for name, c := range map[string]struct {
		name, answers string
		asks, untried bool
		plugs         []port.Adapter
		flags         []string
		code          int
		says          string
	}{
		"a bad name":            {name: "../left", flags: []string{"--port", path}, code: console.ExitUsage, says: "small letters"},
		"no port":               {name: "left", code: console.ExitUsage, says: "no serial adapter is plugged in"},
		"two ports":             {name: "left", plugs: two, code: console.ExitUsage, says: "--port"},
		"nobody's word":         {name: "left", plugs: one, code: console.ExitRefused, says: "--nothing-prints"},
		"the printer prints":    {name: "left", plugs: one, asks: true, answers: "no\n", code: console.ExitRefused, says: "come back"},
		"the answers end":       {name: "left", plugs: two, asks: true, answers: "2\n", code: console.ExitCould, says: "nothing was written"},
		"nobody answers":        {name: "left", flags: []string{"--port", "tcp://127.0.0.1:1"}, code: console.ExitCould, says: "--untried"},
		"what does not fit":     {name: "left", untried: true, asks: true, answers: "0,0,200,200\n300,300,400,400\n\n1\n\n", flags: []string{"--port", path}, code: console.ExitUsage, says: "nothing was written"},
		"another one's address": {name: "left", untried: true, flags: []string{"--port", path, "--listen", "127.0.0.1:8099"}, code: console.ExitUsage, says: "right"},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			s := asking(t, c.name, c.answers, &out, c.flags...)
			s.Asks, s.Untried, s.Plugs = c.asks, c.untried, func() []port.Adapter { return c.plugs }
			if err := os.MkdirAll(s.Dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(s.Dir, "right.yaml"), []byte("listen: 127.0.0.1:8099\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			err := s.Run(t.Context())
			code := console.ExitCould
			var e *console.Exit
			if errors.As(err, &e) {
				code = e.Code
			}
			if err == nil || code != c.code || !strings.Contains(err.Error(), c.says) {
				t.Errorf("exit %d, %v; want %d and %q", code, err, c.code, c.says)
			}
			if files, _ := filepath.Glob(s.Dir + "/*"); len(files) != 1 {
				t.Errorf("written: %v", files)
			}
		})
	}
}

// TestSetupForTheSystem: each printer of a machine gets its own address, state
// and socket, and a rule for its adapter; what is to be done next says so.
func TestSetupForTheSystem(t *testing.T) {
	var out bytes.Buffer
	s := asking(t, "right", "0,0,235,235\n\n\n2\nyes\n", &out)
	s.System, s.Untried, s.Rules, s.Units = true, true, t.TempDir(), t.TempDir()
	s.Plugs = func() []port.Adapter {
		return []port.Adapter{{Device: "/dev/ttyUSB9", ByPath: "/dev/serial/by-path/platform-usb-0:1.2:1.0-port0"}}
	}
	if err := os.MkdirAll(s.Dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(s.Dir, "left.yaml"), []byte("layer: 0.3\n"), 0o644); err != nil { // at the default address
		t.Fatal(err)
	}
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.Tell()
	got := loaded(t, s.Done.File)
	if got.Port != "/dev/abbed/right" || !strings.HasPrefix(got.Listen, "0.0.0.0:") || setup.PortOf(got.Listen) == setup.PortOf(config.Default().Listen) || got.Access.From != config.FromPhone || got.State != "/var/lib/abbed/right" || got.Socket != "/run/abbed/right/socket" || got.Layout != config.MovingGantry {
		t.Errorf("%+v", got)
	}
	if text, err := os.ReadFile(s.Done.Scrape); err != nil || got.Name != "right" || !strings.Contains(string(text), fmt.Sprintf("[%q]\n  labels: {printer: right, __scheme__: https}", ask.AtHome(got.Listen))) {
		t.Errorf("Prometheus reads %q, %v", text, err)
	}
	got.Listen, got.Access.Certificate = "0.0.0.0:8078", "c.pem"
	if text := setup.Scrape(got); !strings.Contains(text, `["127.0.0.1:8078"]`) || !strings.Contains(text, "__scheme__: https") {
		t.Errorf("with a certificate, open to the network: %s", text)
	}
	if text, err := os.ReadFile(s.Done.Unit); err != nil || !strings.Contains(string(text), "IPAddressAllow=10.0.0.0/8 ") {
		t.Errorf("the service lets no phone in: %q, %v", text, err)
	}
	got.Access = config.Access{From: config.FromPhone}
	if text := setup.Scrape(got); !strings.Contains(text, "__scheme__: https") {
		t.Errorf("for a phone: %s", text)
	}
	text, err := os.ReadFile(s.Done.Rule)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), `SYMLINK=="serial/by-path/platform-usb-0:1.2:1.0-port0", SYMLINK+="abbed/right"`) {
		t.Errorf("the rule:\n%s", text)
	}
	for _, want := range []string{"udevadm control --reload", "systemctl daemon-reload", "systemctl enable --now abbed@right", "abbed access pair --printer right", "bed is clear"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not said:\n%s", want, &out)
		}
	}
	if strings.Contains(out.String(), "restart") {
		t.Errorf("a restart of what does not run yet:\n%s", &out)
	}
	s.Replace, s.Asks = true, false // a service that runs keeps the old settings until its restart
	if err := s.Run(t.Context()); err != nil || !slices.Contains(s.Done.Next, "systemctl restart abbed@right") {
		t.Errorf("%v, next %q", err, s.Done.Next)
	}
}

// TestSetupForPrograms: with --json nothing is asked, and what is open is said in
// the file, on standard output and nowhere else.
func TestSetupForPrograms(t *testing.T) {
	path, _ := plugged(t, "no-lever")
	dir := t.TempDir()
	t.Setenv("HOME", dir)
	var out, errs bytes.Buffer
	if code := commands.Main(t.Context(), []string{"setup", "left", "--json", "--port", path, "--dir", dir, "--no-rule", "--layout", "moving-gantry"}, &out, &errs); code != console.ExitDone {
		t.Fatalf("exit %d: %s", code, &errs)
	}
	var got setup.Outline
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatalf("%v: %s", err, &out)
	}
	if !got.Answered || !slices.Contains(got.Open, "bed") || got.Steps["gauging"] == "" || got.File != filepath.Join(dir, "left.yaml") {
		t.Errorf("%+v", got)
	}
	s := loaded(t, got.File)
	if s.Bed != nil || s.Layout != config.MovingGantry {
		t.Errorf("an example was taken for an answer: %v", s.Given)
	}
}

// TestSetupOfATightLippedPrinter: what the printer does not say is asked, and an
// empty answer leaves it open in the file.
func TestSetupOfATightLippedPrinter(t *testing.T) {
	path, _ := plugged(t, "tight-lipped")
	var out bytes.Buffer
	answers := map[string]string{"how far the probe is": "-40,-10", "how high the nozzle": "1.2", "how far the nozzle can go": "", "edges of the bed": "0,0,235,235", "bed map have": "", "Z offset": "100,110", "front to back": "2", "use a phone": "no"}
	s := asking(t, "left", "", &out, "--port", path)
	asked := []string{}
	s.In = bufio.NewReader(readerFunc(func(b []byte) (int, error) {
		question := out.String()[strings.LastIndex(strings.TrimSuffix(out.String(), "\n"), "\n")+1:]
		last, at := "", -1
		for about := range answers {
			if i := strings.LastIndex(question, about); i > at {
				last, at = about, i
			}
		}
		if last == "" {
			return 0, errors.New("an unknown question: " + question)
		}
		asked = append(asked, last)
		return copy(b, answers[last]+"\n"), nil
	}))
	if err := s.Run(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	got := loaded(t, s.Done.File)
	if got.Lever == nil || *got.Lever != (config.XY{X: -40, Y: -10}) || got.Trigger == nil || *got.Trigger != 1.2 || got.Travel != nil || *got.ZeroAt != (config.XY{X: 100, Y: 110}) {
		t.Errorf("asked %v, the file says %v", asked, got.Given)
	}
	if !slices.Contains(s.Done.Open, "travel") {
		t.Errorf("open: %v", s.Done.Open)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }

// heard is what was written, by many at once.
type heard struct {
	mu   sync.Mutex
	text strings.Builder
}

func (h *heard) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.Write(b)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.String()
}
