package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
	"abbed/probe/record"
)

// runbookLines are the lines to type of each alert.
func runbookLines(t *testing.T) map[string][][]string {
	t.Helper()
	b, err := os.ReadFile("../../deploy/metrics/runbook.md")
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
			root := commands()
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
		_, rest, _ := strings.Cut(alerts, m.ID)
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

// standing is a printer of a workshop with its daemon, as the package has it: settings of its
// own, an address, a state directory.
type standing struct {
	t       *testing.T
	name    string
	wire    *cable
	set     config.Settings
	end     func()
	running sync.WaitGroup
}

func (s *standing) start() {
	s.t.Helper()
	h, err := build(s.t.Context(), plan{settings: s.set, clock: clock.Fast(shopSpeed), open: s.wire.open, log: slog.New(slog.DiscardHandler)})
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(s.t.Context()))
	s.end = end
	s.running.Go(func() { _ = h.run(ctx) })
}

func (s *standing) stop() {
	s.end()
	s.running.Wait()
}

func (s *standing) person() *person {
	s.t.Helper()
	a, err := (&caller{printer: s.name}).dial()
	if err != nil {
		s.t.Fatal(err)
	}
	return &person{api: a, feel: func(thick float64) float64 { return s.wire.printer.Blade(thick) },
		rnd: rand.New(rand.NewPCG(1, 2)), name: "the played person"}
}

// types has a person type a line of the runbook at this printer, and do at the machine what
// a run that it starts then asks for.
func (s *standing) types(args []string) {
	s.t.Helper()
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", filepath.Join(s.t.TempDir(), "file"))
	}
	p := s.person()
	var code int
	var errs string
	err := client.Patiently(s.t.Context(), func() error {
		if code, _, errs = runOn(s.t, append(args, "--printer", s.name)...); code != exitDone && strings.Contains(errs, "connecting") {
			return &api.Error{Code: "connecting", RetryAfter: 1}
		}
		return nil
	})
	if err != nil || code != exitDone {
		s.t.Fatalf("%s: abbed %s: exit %d: %s", s.name, strings.Join(args, " "), code, errs)
	}
	runs, err := p.api.Runs(s.t.Context())
	if err == nil && len(runs) > 0 && runs[0].State == api.AwaitingConfirmation {
		_, err = p.carry(s.t.Context(), runs[0])
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

// applies has the correction of the measured run approved and applied.
func (s *standing) applies() {
	s.t.Helper()
	p, o := s.person(), &outcome{}
	runs, err := p.api.Runs(s.t.Context())
	for _, r := range runs {
		if r.State == api.Done && err == nil {
			if o.table, err = p.api.Table(s.t.Context(), r.ID); err == nil {
				err = client.Patiently(s.t.Context(), func() error { return p.apply(s.t.Context(), o) })
			}
			break
		}
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

// shopSpeed is how fast the printers of the workshop are.
const shopSpeed = 300

// TestRunbook: three printers in a workshop under a real Prometheus, with the package's rules;
// each alert that a virtual printer can provoke is provoked, and clears by the lines that the
// runbook has for it, typed at that printer.
func TestRunbook(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of real time")
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	lines := runbookLines(t)
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	loose := lookup(t, "loose-carriage")
	base := measured(t, sc, 2)
	shop, targets := map[string]*standing{}, ""
	if err := os.MkdirAll(settingsDir(false), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, sc := range map[string]bench.Scenario{"left": sc, "middle": sc, "right": loose} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		dir := image(t, base)
		if name == "right" {
			dir = memoryDir(t)
		}
		s := &standing{t: t, name: name, wire: &cable{printer: bench.New(sc, bench.Options{Seed: 2, Speed: shopSpeed})}, set: demoSettings(sc, "bench", l.Addr().String(), dir)}
		_ = l.Close()
		s.set.Name = name
		if name == "middle" { // has a certificate of its own, as for a phone
			s.set.Access.Certificate, s.set.Access.Key = ownCertificate(t)
		}
		shop[name] = s
		targets += scrape(s.set)
		text := fmt.Sprintf("name: %s\nlisten: %s\nstate: %s\naccess: {certificate: %q, key: %q}\n", name, s.set.Listen, dir, s.set.Access.Certificate, s.set.Access.Key)
		if err := os.WriteFile(filepath.Join(settingsDir(false), name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	left, middle, right := shop["left"], shop["middle"], shop["right"]
	owes(t, right)
	for _, s := range shop {
		s.start()
		defer func() { s.stop() }()
	}
	prom := startPrometheus(t, targets, "1s", true)
	alert := func(s *standing, name string) func() bool {
		return func() bool {
			return len(prom.query(fmt.Sprintf(`ALERTS{alertname=%q,printer=%q,alertstate="firing"}`, name, s.name))) > 0
		}
	}
	fires := func(s *standing, name string) {
		t.Helper()
		prom.until(s.name+" fires "+name, alert(s, name))
	}
	clears := func(s *standing, name string, lines ...[]string) {
		t.Helper()
		fires(s, name)
		for _, args := range lines {
			s.types(args)
		}
		prom.until(s.name+" clears "+name, func() bool { return !alert(s, name)() })
	}

	// What a run left switched off; a machine that was never checked; play, until it is repaired.
	clears(right, "AbbedSwitchOwed", lines["AbbedSwitchOwed"]...)
	clears(right, "AbbedCheckOverdue", lines["AbbedCheckOverdue"]...)
	fires(right, "AbbedUnsteady")
	right.wire.pull(true)
	fires(right, "AbbedLinkLost")
	repaired := sc
	repaired.Name = loose.Name
	right.wire.printer = bench.New(repaired, bench.Options{Seed: 2, Speed: shopSpeed})
	right.wire.pull(false)
	clears(right, "AbbedLinkLost", lines["AbbedLinkLost"]...)
	clears(right, "AbbedUnsteady", lines["AbbedUnsteady"]...)

	if code, out, errs := runOn(t, "status", "--all"); code != exitDone || !strings.Contains(out, "left\tready") || !strings.Contains(out, "middle\tready") {
		t.Errorf("status --all: %d %s%s", code, out, errs)
	}

	// A run that nobody wants.
	if code, _, errs := runOn(t, "measure", "repeat", "--printer", "left"); code != exitDone {
		t.Fatal(errs)
	}
	clears(left, "AbbedRunWaits", lines["AbbedRunWaits"]...)

	// A correction that is verified, and whose map the printer measures again.
	middle.applies()
	clears(middle, "AbbedTableUnproved", lines["AbbedTableUnproved"]...)
	middle.wire.printer.MeasureMap()
	middle.wire.printer.Restart()
	clears(middle, "AbbedTableExpired", lines["AbbedTableExpired"][0])

	// A kill in an apply: each of the two lines settles it.
	left.applies()
	for _, args := range lines["AbbedApplyUnfinished"] {
		left.stop()
		half(t, left)
		left.start()
		clears(left, "AbbedApplyUnfinished", args)
	}

	right.stop()
	fires(right, "AbbedGone")
	right.start()
	clears(right, "AbbedGone", lines["AbbedGone"]...)
}

// owes leaves a printer as a run does that was cut off with the levelling switched off.
func owes(t *testing.T, s *standing) {
	t.Helper()
	behind(t, s.wire.printer, "M420 S0")
	st, _, err := store.Open(t.Context(), s.set.State)
	if err == nil {
		err = errors.Join(st.SetOwed(t.Context(), []record.Switch{record.SwitchLevelling}, "a test"), st.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
}

// half leaves the journal as a kill in the middle of a write does.
func half(t *testing.T, s *standing) {
	t.Helper()
	st, _, err := store.Open(t.Context(), s.set.State)
	if err != nil {
		t.Fatal(err)
	}
	a, _, err := st.Applied(t.Context())
	a.State, a.Undo, a.Says = store.Writing, false, ""
	if err == nil {
		_, err = st.SaveApplied(t.Context(), a)
	}
	if err := errors.Join(err, st.Close()); err != nil {
		t.Fatal(err)
	}
}

// TestApplyAgain: a correction that was undone is put back in two acts: one shows what is to
// be approved, one approves.
func TestApplyAgain(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &standing{t: t, name: "left", wire: &cable{printer: bench.New(sc, bench.Options{Seed: 2, Speed: shopSpeed})}, set: demoSettings(sc, "bench", l.Addr().String(), image(t, measured(t, sc, 2)))}
	_ = l.Close()
	text := fmt.Sprintf("listen: %s\nstate: %s\n", s.set.Listen, s.set.State)
	if err := errors.Join(os.MkdirAll(settingsDir(false), 0o755), os.WriteFile(filepath.Join(settingsDir(false), "left.yaml"), []byte(text), 0o644)); err != nil {
		t.Fatal(err)
	}
	s.start()
	defer s.stop()
	if err := client.Patiently(t.Context(), func() error {
		p, err := s.person().api.Printer(t.Context())
		if err == nil && p.Link != api.Ready {
			err = &api.Error{Code: "connecting", RetryAfter: 1}
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	before := s.wire.printer.Nodes()
	s.applies()
	applied := s.wire.printer.Nodes()
	s.types([]string{"correction", "undo"})
	if err := s.person().settled(t.Context(), api.Undone); err != nil || !equalNodes(before, s.wire.printer.Nodes()) {
		t.Fatalf("%v", err)
	}
	code, _, errs := runOn(t, "correction", "reapply")
	again := []string{"correction", "reapply", "--person", "a person"}
	for _, m := range regexp.MustCompile(`--caution (\S+)`).FindAllStringSubmatch(errs, -1) {
		again = append(again, "--caution", m[1])
	}
	if code != exitRefused || len(again) < 7 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if code, _, errs := runOn(t, again[:6]...); code != exitRefused {
		t.Errorf("with one caution: exit %d: %s", code, errs)
	}
	s.types(again)
	if err := s.person().settled(t.Context(), api.Kept); err != nil || !equalNodes(applied, s.wire.printer.Nodes()) {
		t.Errorf("the correction is not back: %v", err)
	}
}
