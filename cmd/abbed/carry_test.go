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

	"abbed/daemon/api"
)

// runID makes a UUIDv7 of a time.
func runID(t time.Time) string {
	ms := fmt.Sprintf("%012x", t.UnixMilli())
	return ms[:8] + "-" + ms[8:] + "-7773-b489-a9a04c1ff157"
}

// twisted is a table of a plain twist: add falls from +a to -a along X.
func twisted(a float64) api.Table {
	digest := strings.Repeat("0123456789abcdef", 4)
	t := api.Table{Digest: &digest, Run: runID(time.Now().Add(-time.Hour)), Cautions: []api.Caution{{ID: "look", Text: "I have looked at the table."}}}
	for j := range 3 {
		for i := range 5 {
			t.Nodes = append(t.Nodes, api.Node{I: i, J: j, U: 10 + 50*float64(i), V: 10 + 100*float64(j), Add: a * (1 - float64(i)/2), U95: 0.007})
		}
	}
	return t
}

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
	code, out, errs, _ := carried(t, twisted(0.2), "--i-signed-off", "01234567")
	if code != exitDone || !strings.Contains(out, "G1 X10 Y10 Z0.4\n") || !strings.Contains(out, "G1 X210 Y10 Z0 E9\n") {
		t.Fatalf("code %d\n%s\n%s", code, out, errs)
	}
	if !strings.HasPrefix(out, "; abbed carried a correction: table 0123456789abcdef") {
		t.Fatal(out)
	}
}

// TestCarryRefuses: without the person's word, stale, beyond limits, not whole,
// refused: exit code 3, nothing written.
func TestCarryRefuses(t *testing.T) {
	with := func(f func(*api.Table)) api.Table { t := twisted(0.2); f(&t); return t }
	signed := []string{"--i-signed-off", "0123456789"}
	for name, c := range map[string]struct {
		table api.Table
		args  []string
		says  string
	}{
		"no word":     {twisted(0.2), nil, "not signed off"},
		"other word":  {twisted(0.2), []string{"--i-signed-off", "fedcba98"}, "not the digest"},
		"few letters": {twisted(0.2), []string{"--i-signed-off", "012"}, "not the digest"},
		"too large":   {twisted(0.6), signed, "largest correction"},
		"too steep":   {with(func(t *api.Table) { t.Nodes[7].Add += 0.3 }), signed, "neighbouring"},
		"unsure":      {with(func(t *api.Table) { t.Nodes[7].U95 = 0.15 }), signed, "doubt"},
		"stale":       {with(func(t *api.Table) { t.Run = runID(time.Now().AddDate(0, -2, 0)) }), signed, "stale"},
		"of no time":  {with(func(t *api.Table) { t.Run = "touches.csv" }), signed, "may be stale"},
		"refused":     {with(func(t *api.Table) { t.Digest, t.Refused = nil, &api.Error{Code: "map-stale", Text: "Old."} }), signed, "map-stale"},
		"no digest":   {with(func(t *api.Table) { t.Digest = nil }), signed, "no digest"},
		"a node lost": {with(func(t *api.Table) { t.Nodes = t.Nodes[:14] }), signed, "not whole"},
		"node twice":  {with(func(t *api.Table) { t.Nodes[3].I = 2 }), signed, "twice"},
		"uneven":      {with(func(t *api.Table) { t.Nodes[3].U += 4 }), signed, "even grid"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs, dir := carried(t, c.table, append([]string{"-o", "/dev/null/x"}, c.args...)...)
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
	code, _, errs, src := carried(t, twisted(0.2), "--i-signed-off", "01234567", "-o", out)
	if b, err := os.ReadFile(out); code != exitDone || err != nil || !bytes.Contains(b, []byte("Z0.4")) {
		t.Fatalf("code %d, %v, %s", code, err, errs)
	}
	args := []string{"carry", "--table", filepath.Join(src, "table.json"), "--i-signed-off", "01234567"}
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
