package e2e_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// behind says a line to the printer over a link of its own, as somebody does at
// its display, and waits for the ok.
func behind(t *testing.T, p *bench.Printer, line string) {
	t.Helper()
	near, far := net.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = p.Serve(ctx, far) }()
	heard := bufio.NewScanner(near)
	if _, err := io.WriteString(near, line+"\n"); err != nil {
		t.Fatal(err)
	}
	for heard.Scan() && !strings.HasPrefix(heard.Text(), "ok") {
		if strings.HasPrefix(heard.Text(), "Error") {
			t.Errorf("%s: %s", line, heard.Text())
		}
	}
	cancel()
	_, _ = near.Close(), far.Close()
	<-done
}

// TestKeeps: what keeping would store beside the map is shown against the
// settings after the last restart that was seen, and asked anew at the sign-off:
// a person confirms what was shown, and nothing else.
func TestKeeps(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		restart  bool
		before   string // said to the printer before the run
		says     string
		changed  []string
		after    string // said to it after the table was shown
		nowSays  string
		nowLines []string
	}{
		"no restart was seen": {says: "abbed saw no restart yet"},
		"nothing changed":     {restart: true, says: "Nothing changed since the last restart", changed: []string{}},
		"changed before the run": {
			restart: true, before: "M851 Z-2.21", says: "Since the last restart 2 lines changed",
			changed: []string{"- M851 X-40.00 Y-12.00 Z-2.12", "+ M851 X-40.00 Y-12.00 Z-2.21"},
		},
		"changed after the run": {
			restart: true, says: "Nothing changed since the last restart", changed: []string{}, after: "M851 Z-2.31",
			nowSays: "Since the last restart 2 lines changed", nowLines: []string{"Z-2.12", "Z-2.31"},
		},
		"and again": {
			restart: true, before: "M851 Z-2.21", says: "2 lines changed", after: "M851 Z-2.41",
			nowSays: "2 lines changed", nowLines: []string{"Z-2.12", "Z-2.41"},
		},
		"changed back": {
			restart: true, before: "M851 Z-2.21", says: "2 lines changed", after: "M851 Z-2.12",
			nowSays: "Nothing changed since the last restart", nowLines: []string{},
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer}, smaller)
				defer w.close()
				ready(t, w)
				if c.restart {
					printer.Restart()
					time.Sleep(20 * time.Second)
					ready(t, w)
				}
				if c.before != "" {
					behind(t, printer, c.before)
				}
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				run, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
				if err != nil {
					t.Fatal(err)
				}
				o := &ask.Outcome{Run: run}
				shown := func() []string {
					t.Helper()
					if o.Table, err = w.api.Table(t.Context(), run.ID); err != nil || o.Table.Keeps == nil || o.Table.Keeps.Now == "" || (o.Table.Keeps.AtRestart != nil) != c.restart {
						t.Fatalf("%+v, %v", o.Table.Keeps, err)
					}
					return o.Table.Keeps.Changed
				}
				if lines := shown(); c.changed != nil && !alikeLines(lines, c.changed) {
					t.Errorf("changed %q, want %q", lines, c.changed)
				}
				if text := keepingCaution(o.Table); !strings.Contains(text, c.says) {
					t.Errorf("the caution: %s", text)
				}
				if c.after != "" {
					behind(t, printer, c.after)
					before := printer.Nodes()
					var e *api.Error
					err := p.Apply(t.Context(), o)
					if !errors.As(err, &e) || e.Code != "cautions-missing" || len(e.Missing) != 1 || !strings.Contains(e.Text, "changed since they were shown") || !equalNodes(before, printer.Nodes()) {
						t.Fatalf("signed off what was not shown: %v", err)
					}
					lines := shown()
					for _, l := range c.nowLines {
						if !slices.ContainsFunc(lines, func(s string) bool { return strings.Contains(s, l) }) {
							t.Errorf("%q is not among %q", l, lines)
						}
					}
					if text := keepingCaution(o.Table); !strings.Contains(text, c.nowSays) {
						t.Errorf("the caution: %s", text)
					}
				}
				if err := p.Apply(t.Context(), o); err != nil {
					t.Errorf("with everything shown: %v", err)
				}
			})
		})
	}
}

// alikeLines compares lines, the lever's X and Y apart: they are the scenario's.
func alikeLines(a, b []string) bool {
	return slices.EqualFunc(a, b, func(x, y string) bool {
		return x[:2] == y[:2] && x[strings.LastIndexByte(x, ' '):] == y[strings.LastIndexByte(y, ' '):]
	})
}

func keepingCaution(table api.Table) string {
	for _, c := range table.Cautions {
		if strings.HasPrefix(c.ID, "keeps-all") {
			return c.Text
		}
	}
	return "none"
}
