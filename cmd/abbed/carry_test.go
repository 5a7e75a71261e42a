package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon"
	"abbed/daemon/api"
)

// runID makes a UUIDv7 of a time.
func runID(t time.Time) string {
	ms := fmt.Sprintf("%012x", t.UnixMilli())
	return ms[:8] + "-" + ms[8:] + "-7773-b489-a9a04c1ff157"
}

// twisted is a table of a plain twist: add falls from +a to -a along X.
func twisted(a float64) api.Table {
	began := time.Now().Add(-time.Hour)
	t := api.Table{Printer: "bench", Lever: &api.XY{Y: 45}, Area: &api.Rect{X0: 10, Y0: 10, X1: 210, Y1: 210}, Made: &began, Run: runID(time.Now().Add(-time.Hour)), Cautions: []api.Caution{{ID: "look", Text: "I have looked at the table."}}}
	for j := range 3 {
		for i := range 5 {
			t.Nodes = append(t.Nodes, api.Node{I: i, J: j, U: 10 + 50*float64(i), V: 10 + 100*float64(j), Add: a * (1 - float64(i)/2), U95: 0.007})
		}
	}
	return sealed(t)
}

// sealed gives a table the digest of what it holds.
func sealed(t api.Table) api.Table {
	digest := daemon.Tabled(t).Sum()
	t.Digest = &digest
	return t
}

// word is the sign-off of a table.
func word(t api.Table) string { return (*t.Digest)[:8] }

func carried(t *testing.T, table api.Table, args ...string) (code int, out, errs, dir string) {
	t.Helper()
	dir = t.TempDir()
	b, err := json.Marshal(table)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "part.gcode")
	for name, text := range map[string]string{filepath.Join(dir, "table.json"): string(b), file: "G28\nG90\nM83\nG1 X10 Y10 Z0.2\nG1 X210 Y10 E9\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var o, e bytes.Buffer
	code = Main(context.Background(), append([]string{"carry", file, "--table", filepath.Join(dir, "table.json")}, args...), &o, &e)
	return code, o.String(), e.String(), dir
}

// TestCarry: a table whose digest the person types goes into the file.
func TestCarry(t *testing.T) {
	code, out, errs, _ := carried(t, twisted(0.2), "--i-signed-off", word(twisted(0.2)))
	if code != exitDone || !strings.Contains(out, "G1 X10 Y10 Z0.4\n") || !strings.Contains(out, "G1 X210 Y10 Z0 E9\n") {
		t.Fatalf("code %d\n%s\n%s", code, out, errs)
	}
	if !strings.HasPrefix(out, "; abbed carried a correction: table "+word(twisted(0.2))) {
		t.Fatal(out)
	}
}

// refusal is a table that is not carried; without args it is signed off, unless
// that is what it is about.
type refusal struct {
	table api.Table
	args  []string
	says  string
}

func (c refusal) word() []string {
	if c.table.Digest == nil || len(c.args) > 0 && c.args[0] == "--i-signed-off" || c.says == "not signed off" {
		return c.args
	}
	return append([]string{"--i-signed-off", *c.table.Digest}, c.args...)
}

// TestCarryRefuses: without the person's word, stale, beyond limits, not whole,
// refused: exit code 3, nothing written.
func TestCarryRefuses(t *testing.T) {
	with := func(f func(*api.Table)) api.Table { t := twisted(0.2); f(&t); return sealed(t) }
	edited := func(f func(*api.Table)) api.Table { t := twisted(0.2); f(&t); return t }
	for name, c := range map[string]refusal{
		"no word":     {twisted(0.2), nil, "not signed off"},
		"other word":  {twisted(0.2), []string{"--i-signed-off", "fedcba98"}, "not the digest"},
		"few letters": {twisted(0.2), []string{"--i-signed-off", word(twisted(0.2))[:3]}, "not the digest"},
		"too large":   {twisted(0.6), nil, "largest correction"},
		"too steep":   {with(func(t *api.Table) { t.Nodes[7].Add += 0.3 }), nil, "neighbouring"},
		"unsure":      {with(func(t *api.Table) { t.Nodes[7].U95 = 0.15 }), nil, "doubt"},
		"stale":       {with(func(t *api.Table) { t.Run = runID(time.Now().AddDate(0, -2, 0)) }), nil, "stale"},
		"of no time":  {with(func(t *api.Table) { t.Run = "touches.csv" }), nil, "may be stale"},
		"edited":      {edited(func(t *api.Table) { t.Nodes[4].Add -= 0.05 }), nil, "was changed"},
		"other lever": {edited(func(t *api.Table) { t.Lever.Y = 20 }), nil, "was changed"},
		"its limits":  {with(func(t *api.Table) { t.Limits = &api.Limits{Largest: 0.1, Steepest: 0.3, DoubtShare: 0.5} }), nil, "largest correction"},
		"the owner's": {twisted(0.2), []string{"--set", "criteria.largest=0.1"}, "largest correction"},
		"refused":     {edited(func(t *api.Table) { t.Digest, t.Refused = nil, &api.Error{Code: "map-stale", Text: "Old."} }), nil, "map-stale"},
		"no digest":   {edited(func(t *api.Table) { t.Digest = nil }), nil, "no digest"},
		"a node lost": {with(func(t *api.Table) { t.Nodes = t.Nodes[:14] }), nil, "not whole"},
		"node twice":  {with(func(t *api.Table) { t.Nodes[3].I = 2 }), nil, "twice"},
		"uneven":      {with(func(t *api.Table) { t.Nodes[3].U += 4 }), nil, "even grid"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs, dir := carried(t, c.table, append([]string{"-o", "/dev/null/x"}, c.word()...)...)
			if code != exitRefused || out != "" || !strings.Contains(errs, c.says) {
				t.Fatalf("code %d\n%s\n%s", code, out, errs)
			}
			if left, _ := filepath.Glob(filepath.Join(dir, ".carry-*")); len(left) > 0 {
				t.Fatalf("left behind: %v", left)
			}
		})
	}
}

// TestCarryInForce: what the printer's map holds already is not carried too.
func TestCarryInForce(t *testing.T) {
	table := twisted(0.2)
	other, why := "ff", "the wheels were changed"
	for name, c := range map[string]struct {
		in     api.Applied
		refuse bool
	}{
		"none":       {api.Applied{State: api.NoneApplied}, false},
		"undone":     {api.Applied{State: api.Undone, Digest: table.Digest}, false},
		"kept":       {api.Applied{State: api.Kept, Digest: table.Digest}, true},
		"expired":    {api.Applied{State: api.Kept, Digest: table.Digest, Expired: &why}, true},
		"the parent": {api.Applied{State: api.Kept, Digest: &other}, false},
		"unfinished": {api.Applied{State: api.Unfinished, Digest: &other}, true},
	} {
		if err := inForce(table, c.in); (err != nil) != c.refuse {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestCarryToFile: the file appears only when it is whole, never over the source.
func TestCarryToFile(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "carried.gcode")
	code, _, errs, src := carried(t, twisted(0.2), "--i-signed-off", word(twisted(0.2)), "-o", out)
	if b, err := os.ReadFile(out); code != exitDone || err != nil || !bytes.Contains(b, []byte("Z0.4")) {
		t.Fatalf("code %d, %v, %s", code, err, errs)
	}
	args := []string{"carry", "--table", filepath.Join(src, "table.json"), "--i-signed-off", word(twisted(0.2))}
	again := filepath.Join(dir, "again.gcode")
	if code := Main(context.Background(), append(args, out, "-o", again), &bytes.Buffer{}, &bytes.Buffer{}); code != exitRefused {
		t.Errorf("carried twice: code %d", code)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*again*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if code := Main(context.Background(), append(args, out, "-o", out), &bytes.Buffer{}, &bytes.Buffer{}); code != exitUsage {
		t.Errorf("onto itself: code %d", code)
	}
}

// TestCarryOwnersLimits: the owner's settings hold, wider ones too.
func TestCarryOwnersLimits(t *testing.T) {
	table := twisted(0.6)
	if code, _, errs, _ := carried(t, table, "--i-signed-off", word(table), "--set", "criteria.largest=0.7", "--set", "criteria.steepest=0.9"); code != exitDone {
		t.Errorf("code %d: %s", code, errs)
	}
}
