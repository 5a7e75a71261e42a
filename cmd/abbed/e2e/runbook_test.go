package e2e_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/setup"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/status"
	"abbed/gcode/bench"
)

// runbookLines are the lines to type of each alert.
func runbookLines(t *testing.T) map[string][][]string {
	t.Helper()
	b, err := os.ReadFile("../../..//deploy/metrics/runbook.md")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][][]string{}
	alert := ""
	for line := range strings.Lines(string(b)) {
		if name, ok := strings.CutPrefix(line, "## "); ok {
			alert = strings.TrimSpace(name)
			out[alert] = nil
		}
		if text, ok := strings.CutPrefix(line, "    abbed "); ok {
			out[alert] = append(out[alert], words(strings.TrimSpace(text)))
		}
	}
	return out
}

// words splits a line as a shell does, as far as the runbook goes.
func words(line string) (out []string) {
	for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1) {
		out = append(out, strings.Trim(w, `"`))
	}
	return out
}

// TestRunbookLines: each line of the runbook is a command of this program, with flags that
// it has; and what the room and the terminal tell a person to do stands in the alert and in
// the runbook in the same words.
func TestRunbookLines(t *testing.T) {
	lines := runbookLines(t)
	for alert, all := range lines {
		for _, args := range all {
			root := commands.Commands()
			c, rest, err := root.Find(args)
			if err == nil {
				err = c.ParseFlags(append(rest, "--printer", "left"))
			}
			if err == nil && c.Args != nil {
				err = c.Args(c, c.Flags().Args())
			}
			if err != nil {
				t.Errorf("%s: abbed %s: %v", alert, strings.Join(args, " "), err)
			}
		}
	}
	b, err := os.ReadFile(filepath.Join(stack, "rules/abbed-alerts.yml"))
	if err != nil {
		t.Fatal(err)
	}
	alerts := string(b)
	for _, m := range status.Matters() {
		if m.ID == status.TodoUnopened || m.ID == status.TodoCheck {
			continue // no alarm; a check that is due for a week has its own
		}
		if !strings.Contains(alerts, m.ID) || !strings.Contains(alerts, m.Act) {
			t.Errorf("no alert says for %s %q", m.ID, m.Act)
		}
		_, rest, _ := strings.Cut(alerts, m.Act)
		name := regexp.MustCompile(`runbook\.md#(\w+)`).FindStringSubmatch(rest)[1]
		for alert, all := range lines {
			if strings.ToLower(alert) != name {
				continue
			}
			for _, command := range m.Commands {
				found := command == "abbed confirm" && strings.Contains(alert, "RunWaits") // its text names it
				for _, args := range all {
					found = found || strings.HasPrefix("abbed "+strings.Join(args, " "), command)
				}
				if !found {
					t.Errorf("%s: the runbook has no line %q", alert, command)
				}
			}
		}
	}
}

// outlet is where a virtual printer of the workshop stands: an address that outlives daemons, and
// the printers that are put there one after another.
type outlet struct {
	printer atomic.Pointer[bench.Printer]
	heard   atomic.Pointer[func(line string)] // is told each line that a daemon sends
	out     atomic.Bool                       // the cable is out
	listen  net.Listener
	mu      sync.Mutex
	line    net.Conn
	serving sync.WaitGroup
}

func newOutlet(t *testing.T, sc bench.Scenario) *outlet {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &outlet{listen: l}
	s.put(sc)
	s.serving.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			if s.out.Load() {
				_ = c.Close()
				continue
			}
			s.mu.Lock()
			s.line = c
			s.mu.Unlock()
			s.serving.Go(func() { _ = s.printer.Load().Serve(context.WithoutCancel(t.Context()), &overheard{Conn: c, outlet: s}) })
		}
	})
	t.Cleanup(func() { _ = l.Close(); s.pull(true); s.serving.Wait() })
	return s
}

// put has another machine stand there.
func (s *outlet) put(sc bench.Scenario) {
	s.printer.Store(bench.New(sc, bench.Options{Seed: 2, Speed: shopSpeed}))
	s.pull(false)
}

// pull takes the cable out; false: and in again.
func (s *outlet) pull(out bool) {
	s.out.Store(out)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.line != nil {
		_ = s.line.Close()
		s.line = nil
	}
}

// at has do called when the n-th line that begins so is sent.
func (s *outlet) at(word string, n int, do func()) {
	hear := func(line string) {
		if _, rest, framed := strings.Cut(line, " "); framed && strings.HasPrefix(line, "N") {
			line = rest
		}
		if strings.HasPrefix(line, word) {
			if n--; n == 0 {
				do()
			}
		}
	}
	s.heard.Store(&hear)
}

// overheard is a line whose lines are told.
type overheard struct {
	net.Conn
	outlet *outlet
	part   string
}

func (o *overheard) Read(b []byte) (int, error) {
	n, err := o.Conn.Read(b)
	for _, c := range b[:n] {
		if o.part += string(c); c == '\n' {
			if f := o.outlet.heard.Load(); f != nil {
				(*f)(o.part)
			}
			o.part = ""
		}
	}
	return n, err
}

// standing is a printer of a workshop with its daemon: the program in a process of its own,
// with settings, address and state directory of its own.
type standing struct {
	t       *testing.T
	program string
	name    string
	*outlet
	state  string
	more   string   // settings that this printer has besides
	files  []string // that these name, which the daemon reads
	listen string
	cmd    *exec.Cmd
	wrong  float64 // by how much the blade that the person takes is thicker than they say
}

// settings writes the file of this printer.
func (s *standing) settings() {
	s.t.Helper()
	d := demo.DemoSettings(s.printer.Load().Scenario(), "", "", "")
	text := fmt.Sprintf("name: %s\nport: tcp://%s\nlisten: %s\nstate: %s\nbed: %q\nmap_area: %q\nzero_at: %q\nlayout: %s\n%s\n",
		s.name, s.outlet.listen.Addr(), s.listen, s.state, d.Bed, d.MapArea, d.ZeroAt, d.Layout, s.more)
	if err := os.WriteFile(s.file(), []byte(text), 0o644); err != nil {
		s.t.Fatal(err)
	}
}

func (s *standing) file() string { return filepath.Join(console.SettingsDir(false), s.name+".yaml") }

func (s *standing) start() {
	s.t.Helper()
	s.cmd = exec.Command(s.program, "serve", "--config", s.file())
	if u, err := user.Lookup("abbed"); err == nil && *packaged != "" && os.Geteuid() == 0 { // as the service of the package
		if said, err := exec.Command("chown", append([]string{"-R", "abbed:abbed", s.state}, s.files...)...).CombinedOutput(); err != nil {
			s.t.Fatalf("%v: %s", err, said)
		}
		uid, err := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err := errors.Join(err, err2); err != nil {
			s.t.Fatal(err)
		}
		s.cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	said := &strings.Builder{}
	s.cmd.Stderr = said
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	cmd := s.cmd
	s.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		if s.t.Failed() {
			s.t.Logf("%s said:\n%s", s.name, said)
		}
	})
}

// kill ends the daemon as a power cut does.
func (s *standing) kill() {
	_ = s.cmd.Process.Kill()
	_ = s.cmd.Wait()
}

func (s *standing) person() *demo.Person {
	s.t.Helper()
	a, err := (&ask.Caller{Printer: s.name}).Dial()
	if err != nil {
		s.t.Fatal(err)
	}
	return &demo.Person{API: a, Feel: func(thick float64) float64 { return s.printer.Load().Blade(thick + s.wrong) },
		Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
}

// ready waits until the daemon knows the printer that is there now.
func (s *standing) ready() {
	s.t.Helper()
	if err := client.Patiently(s.t.Context(), func() error {
		p, err := s.person().API.Printer(s.t.Context())
		s.mu.Lock()
		defer s.mu.Unlock()
		if err != nil || p.Link != api.Ready || s.line == nil {
			return &api.Error{Code: "connecting", RetryAfter: 1}
		}
		return nil
	}); err != nil {
		s.t.Fatal(err)
	}
}

// types has a person type a line of the runbook at this printer, and do at the machine what
// a run that it starts then asks for.
func (s *standing) types(args []string) {
	s.t.Helper()
	args = append(slices.Clone(args), "--printer", s.name)
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", filepath.Join(s.t.TempDir(), "file"))
	}
	var said []byte
	err := client.Patiently(s.t.Context(), func() (err error) {
		said, err = exec.Command(s.program, args...).CombinedOutput()
		if err != nil && (strings.Contains(string(said), "connecting") || strings.Contains(string(said), "is being written")) {
			return &api.Error{Code: "connecting", RetryAfter: 1}
		}
		return err
	})
	if err != nil {
		s.t.Fatalf("%s: abbed %s: %v: %s", s.name, strings.Join(args, " "), err, said)
	}
	p := s.person()
	runs, err := p.API.Runs(s.t.Context())
	if err == nil && len(runs) > 0 && runs[0].State == api.AwaitingConfirmation {
		_, err = p.Carry(s.t.Context(), runs[0])
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

// applies has the correction of the measured run approved and applied.
func (s *standing) applies() error {
	s.t.Helper()
	p, o := s.person(), &ask.Outcome{}
	runs, err := p.API.Runs(s.t.Context())
	for _, r := range runs {
		if r.State == api.Done && slices.Contains(r.Steps, "survey") && err == nil {
			if o.Table, err = p.API.Table(s.t.Context(), r.ID); err == nil {
				err = client.Patiently(s.t.Context(), func() error { return p.Apply(s.t.Context(), o) })
			}
			break
		}
	}
	return err
}

// shopSpeed is how fast the printers of the workshop are.
const shopSpeed = 300

var (
	packaged  = flag.String("runbook.program", "", "TestRunbook: the program of the package, whose daemons are its user's where root asks; by default one is built")
	eachAlert = flag.Bool("runbook.all", false, "TestRunbook: all alerts, also those that take long")
)

// putUp puts printers up in a workshop of their own, the settings where the commands look.
func putUp(t *testing.T, sc bench.Scenario, names ...string) map[string]*standing {
	t.Helper()
	config := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", config)
	if err := errors.Join(os.MkdirAll(console.SettingsDir(false), 0o755), os.Chmod(filepath.Dir(config), 0o755)); err != nil { // for other users too
		t.Fatal(err)
	}
	bin := *packaged
	if bin == "" {
		bin = program(t)
	}
	out := map[string]*standing{}
	for _, name := range names {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		out[name] = &standing{t: t, program: bin, name: name, outlet: newOutlet(t, sc), state: t.TempDir(), listen: l.Addr().String()}
		_ = l.Close()
	}
	return out
}

// TestRunbook: three daemons of the program, each a process, in a workshop under a real
// Prometheus with the package's rules: every alert is provoked, and each line that the runbook
// has for it is typed at that printer, until the alert clears. Only times are shorter: the
// intervals, what an alert waits for, the hour of AbbedLineNoisy and the half year of
// AbbedTableStale (startPrometheus). Six that take a minute more wait for -runbook.all.
// AbbedDiskFilling is provoked on a small filesystem: it needs a user who may mount one (root).
func TestRunbook(t *testing.T) {
	if testing.Short() {
		t.Skip("a real Prometheus takes its time")
	}
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	all := putUp(t, sc, "left", "middle", "right")
	targets := ""
	for name, s := range all {
		set := config.Settings{Name: name, Listen: s.listen}
		if s.state = memoryDir(t); name != "right" {
			s.state = image(t, base)
		}
		if name == "middle" { // has a certificate of its own, as for a phone
			set.Access.Certificate, set.Access.Key = ownCertificate(t)
			s.files = []string{set.Access.Certificate, set.Access.Key}
			s.more = fmt.Sprintf("access: {certificate: %q, key: %q}", set.Access.Certificate, set.Access.Key)
		}
		targets += setup.Scrape(set)
		s.settings()
	}
	w := &watch{lines: runbookLines(t), done: &sync.Map{}, prom: startPrometheus(t, targets, "1s", true)}
	t.Run("printers", func(t *testing.T) {
		for name, tell := range map[string]func(*watch, *standing, bench.Scenario){"left": written, "middle": grown, "right": worn} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				one, prom := *w, *w.prom
				one.prom, prom.t, all[name].t = &prom, t, t
				tell(&one, all[name], sc)
			})
		}
	})
	for alert := range w.lines {
		if _, provoked := w.done.Load(alert); !provoked && *eachAlert {
			t.Errorf("%s was not provoked", alert)
		}
	}
}

// watch is a workshop under Prometheus.
type watch struct {
	prom  *prometheus
	lines map[string][][]string // of the runbook
	done  *sync.Map             // the alerts that were provoked and cleared
}

func (w *watch) alert(s *standing, name string) func() bool {
	return func() bool {
		return len(w.prom.query(fmt.Sprintf(`ALERTS{alertname=%q,printer=%q,alertstate="firing"}`, name, s.name))) > 0
	}
}

func (w *watch) fires(s *standing, name string) {
	s.t.Helper()
	w.prom.until(s.name+" fires "+name, w.alert(s, name))
}

// clears waits for the alert, has these lines typed, and what is done at the machine done,
// and waits until it is gone.
func (w *watch) clears(s *standing, name string, lines [][]string, acts ...func()) {
	s.t.Helper()
	w.fires(s, name)
	for _, act := range acts {
		act()
	}
	for _, args := range lines {
		s.types(args)
	}
	w.prom.until(s.name+" clears "+name, func() bool { return !w.alert(s, name)() })
	w.done.Store(name, true)
	s.t.Logf("%s cleared", name)
}

// says has a person type a line, and do nothing more.
func (s *standing) says(args ...string) {
	s.t.Helper()
	if said, err := exec.Command(s.program, append(args, "--printer", s.name)...).CombinedOutput(); err != nil {
		s.t.Fatalf("%s: abbed %v: %v: %s", s.name, args, err, said)
	}
}

// written is a printer whose correction is cut while it is written, whose nozzle is not where
// it should be, and whose beam then twists.
func written(w *watch, s *standing, sc bench.Scenario) {
	s.start()
	s.ready()
	s.says("measure", "repeat") // that nobody wants
	w.clears(s, "AbbedRunWaits", w.lines["AbbedRunWaits"])

	for _, line := range w.lines["AbbedApplyUnfinished"] { // each settles it; the last one finishes it
		s.at("M421", 6, func() { _ = s.cmd.Process.Kill() })
		if err := s.applies(); err == nil {
			s.t.Fatal("it was not cut")
		}
		s.kill()
		s.start()
		s.ready()
		w.clears(s, "AbbedApplyUnfinished", [][]string{line})
	}

	for _, line := range w.lines["AbbedProofFailed"] {
		s.wrong = 0.12 // as after a nozzle that was changed
		s.types(line0("correction verify"))
		s.wrong = 0
		w.clears(s, "AbbedProofFailed", [][]string{line})
	}

	if !*eachAlert {
		return
	}
	if err := s.applies(); err != nil {
		s.t.Fatal(err)
	}
	nodes := s.printer.Load().Nodes()
	sc.Roll = lookup(s.t, "healthy").Roll
	s.put(sc)
	for j, row := range nodes {
		for i, z := range row {
			behind(s.t, s.printer.Load(), fmt.Sprintf("M421 I%d J%d Z%.3f", i, j, z))
		}
	}
	behind(s.t, s.printer.Load(), "M500")
	s.ready()
	s.types(line0("measure"))
	w.clears(s, "AbbedTwistMoved", w.lines["AbbedTwistMoved"])
}

func line0(line string) []string { return strings.Fields(line) }

// grown is a printer whose correction grows old, whose map is measured again, whose probe is
// moved, and that is taken away; its line grows bad, its store full, and its daemon ends.
func grown(w *watch, s *standing, sc bench.Scenario) {
	s.start()
	s.ready()
	if err := s.applies(); err != nil {
		s.t.Fatal(err)
	}
	w.clears(s, "AbbedTableUnproved", w.lines["AbbedTableUnproved"])
	if *eachAlert {
		w.clears(s, "AbbedTableStale", w.lines["AbbedTableStale"])
	}

	again, undone := w.lines["AbbedTableExpired"][:1], w.lines["AbbedTableExpired"][1:]
	s.printer.Load().MeasureMap()
	s.printer.Load().Restart()
	w.clears(s, "AbbedTableExpired", again)
	if err := s.person().Settled(s.t.Context(), api.Kept); err != nil { // the line is back before the writing is
		s.t.Fatal(err)
	}
	sc.Name = "another"
	s.put(sc)
	w.clears(s, "AbbedTableExpired", undone)
	if *eachAlert {
		s.ready()
		s.types(line0("measure"))
		if err := s.applies(); err != nil {
			s.t.Fatal(err)
		}
		behind(s.t, s.printer.Load(), fmt.Sprintf("M851 X%.2f Y%.2f", sc.Lever[0]+3, sc.Lever[1]))
		behind(s.t, s.printer.Load(), "M500")
		s.printer.Load().Restart()
		w.clears(s, "AbbedTableExpired", undone)

		for k := range 30 {
			s.printer.Load().Inject(bench.Fault{Name: "bit-in", When: strconv.Itoa(10 * (k + 1))})
		}
		s.types(line0("measure repeat"))
		w.clears(s, "AbbedLineNoisy", nil, s.printer.Load().Calm)
	}

	own := s.more
	set := func(more string) func() {
		return func() {
			s.more = own + more
			s.settings()
			if err := s.cmd.Process.Signal(syscall.SIGHUP); err != nil {
				s.t.Fatal(err)
			}
		}
	}
	set("\nretention: {days: 730}")() // its first run was made in a bubble, in the year 2000
	w.clears(s, "AbbedStoreFilling", w.lines["AbbedStoreFilling"], set("\nretention: {days: 0}"))

	s.kill()
	w.clears(s, "AbbedGone", w.lines["AbbedGone"], s.start, s.ready)
}

// worn is a printer that was never measured, on a full disk, whose head has play, whose probe
// scatters, drifts, and whose beam is twisted beyond a correction; each is repaired.
func worn(w *watch, s *standing, sc bench.Scenario) {
	roomy := func() {
		if said, err := exec.Command("mount", "-o", "remount,size=1g", s.state).CombinedOutput(); err != nil {
			s.t.Fatalf("%v: %s", err, said)
		}
	}
	said, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=150m,mode=0700", "tmpfs", s.state).CombinedOutput()
	if err != nil {
		s.t.Logf("AbbedDiskFilling is not provoked: it needs a user who may mount a tmpfs: %v: %s", err, said)
		w.done.Store("AbbedDiskFilling", true)
	} else {
		s.t.Cleanup(func() { s.kill(); _ = exec.Command("umount", s.state).Run() })
	}
	is := func(change func(*bench.Scenario)) {
		now := sc
		change(&now)
		s.put(now)
	}
	sound := func() { is(func(*bench.Scenario) {}) }
	loose := func(sc *bench.Scenario) { sc.Play = [2]float64{0.08, 0} }
	is(loose)
	s.start()
	s.ready()
	if err == nil {
		w.clears(s, "AbbedDiskFilling", w.lines["AbbedDiskFilling"], roomy)
	}

	cut, end := context.WithCancel(s.t.Context())
	s.at("G30", 8, func() { _ = s.cmd.Process.Kill(); end() }) // in the touches: the levelling is off
	if _, err := s.person().Measure(cut, "repeat"); err == nil {
		s.t.Fatal("it was not cut")
	}
	s.kill()
	s.start()
	s.ready()
	w.clears(s, "AbbedSwitchOwed", w.lines["AbbedSwitchOwed"])
	w.clears(s, "AbbedCheckOverdue", w.lines["AbbedCheckOverdue"])

	w.fires(s, "AbbedUnsteady")
	s.pull(true)
	w.clears(s, "AbbedLinkLost", w.lines["AbbedLinkLost"], sound)
	s.ready()
	w.clears(s, "AbbedUnsteady", w.lines["AbbedUnsteady"])

	for name, bad := range map[string]func(*bench.Scenario){
		"AbbedScatterGrown": func(sc *bench.Scenario) { sc.Scatter = 0.06 },
		"AbbedDrift":        func(sc *bench.Scenario) { sc.DriftRate = 1e-3 },
		"AbbedRepair":       func(sc *bench.Scenario) { sc.Roll = lookup(s.t, "repair").Roll },
	} {
		if !*eachAlert {
			break
		}
		is(bad)
		s.ready()
		s.types(line0("measure"))
		w.clears(s, name, w.lines[name], sound, s.ready)
	}
}

// TestOutsideTheGroup: a user of this machine who may not read the token looks and stops all
// the same, and is told that everything else is for others, not that the daemon is dead.
func TestOutsideTheGroup(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root becomes another user")
	}
	s := putUp(t, lookup(t, "healthy"), "left")["left"]
	if err := os.Chmod(filepath.Dir(s.state), 0o755); err != nil { // else nobody else can start the program
		t.Fatal(err)
	}
	s.settings()
	s.start()
	s.ready()
	for line, want := range map[string]int{"status": console.ExitDone, "stop": console.ExitDone, "measure --quick": console.ExitCould} {
		c := exec.Command(s.program, append(strings.Fields(line), "--printer", "left")...)
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		said, _ := c.CombinedOutput()
		if got := c.ProcessState.ExitCode(); got != want || strings.Contains(string(said), "daemon running") {
			t.Errorf("abbed %s: exit %d, want %d: %s", line, got, want, said)
		}
	}
}

// TestApplyAgain: a correction that was undone is put back in two acts: one shows what is to
// be approved, one approves.
func TestApplyAgain(t *testing.T) {
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	s := putUp(t, sc, "left")["left"]
	s.state = image(t, measured(t, sc, 2))
	s.settings()
	s.start()
	s.ready()
	before := s.printer.Load().Nodes()
	if err := s.applies(); err != nil {
		t.Fatal(err)
	}
	applied := s.printer.Load().Nodes()
	s.types([]string{"correction", "undo"})
	if err := s.person().Settled(t.Context(), api.Undone); err != nil || !equalNodes(before, s.printer.Load().Nodes()) {
		t.Fatalf("%v", err)
	}
	code, _, errs := runOn(t, "correction", "reapply")
	again := []string{"correction", "reapply", "--person", "a person"}
	for _, m := range regexp.MustCompile(`--caution (\S+)`).FindAllStringSubmatch(errs, -1) {
		again = append(again, "--caution", m[1])
	}
	if code != console.ExitRefused || len(again) < 7 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if code, _, errs := runOn(t, again[:6]...); code != console.ExitRefused {
		t.Errorf("with one caution: exit %d: %s", code, errs)
	}
	s.types(again)
	if err := s.person().Settled(t.Context(), api.Kept); err != nil || !equalNodes(applied, s.printer.Load().Nodes()) {
		t.Errorf("the correction is not back: %v", err)
	}
}
