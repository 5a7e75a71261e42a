package ask_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/correction"
	"abbed/gcode/printfile"
	"abbed/probe/record"
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
	digest := correction.Tabled(t).Sum()
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
	code = commands.Main(context.Background(), append([]string{"correction", "carry", file, "--table", filepath.Join(dir, "table.json")}, args...), &o, &e)
	return code, o.String(), e.String(), dir
}

// TestCarry: a table whose digest the person types goes into the file.
func TestCarry(t *testing.T) {
	code, out, errs, _ := carried(t, twisted(0.2), "--approve", word(twisted(0.2)))
	if code != console.ExitDone || !strings.Contains(out, "G1 X10 Y10 Z0.4\n") || !strings.Contains(out, "G1 X210 Y10 Z0 E9\n") {
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
	if c.table.Digest == nil || len(c.args) > 0 && c.args[0] == "--approve" || c.says == "not approved" {
		return c.args
	}
	return append([]string{"--approve", *c.table.Digest}, c.args...)
}

// TestCarryRefuses: without the person's word, stale, beyond limits, not whole,
// refused: exit code 3, nothing written.
func TestCarryRefuses(t *testing.T) {
	with := func(f func(*api.Table)) api.Table { t := twisted(0.2); f(&t); return sealed(t) }
	edited := func(f func(*api.Table)) api.Table { t := twisted(0.2); f(&t); return t }
	for name, c := range map[string]refusal{
		"no word":     {twisted(0.2), nil, "not approved"},
		"other word":  {twisted(0.2), []string{"--approve", "fedcba98"}, "not the digest"},
		"few letters": {twisted(0.2), []string{"--approve", word(twisted(0.2))[:3]}, "not the digest"},
		"too large":   {twisted(0.6), nil, "largest correction"},
		"too steep":   {with(func(t *api.Table) { t.Nodes[7].Add += 0.3 }), nil, "neighbouring"},
		"unsure":      {with(func(t *api.Table) { t.Nodes[7].U95 = 0.15 }), nil, "is known to ±0.150 mm only"},
		"stale":       {with(func(t *api.Table) { t.Run = runID(time.Now().AddDate(0, -2, 0)) }), nil, "stale"},
		"of no time":  {with(func(t *api.Table) { t.Run = "touches.csv" }), nil, "may be stale"},
		"edited":      {edited(func(t *api.Table) { t.Nodes[4].Add -= 0.05 }), nil, "was changed"},
		"other lever": {edited(func(t *api.Table) { t.Lever.Y = 20 }), nil, "was changed"},
		"its limits":  {with(func(t *api.Table) { t.Limits = &api.Limits{Largest: 0.1, Steepest: 0.3, DoubtShare: 0.5} }), nil, "largest correction"},
		"the owner's": {twisted(0.2), []string{"--set", "largest=0.1"}, "largest correction"},
		"refused":     {edited(func(t *api.Table) { t.Digest, t.Refused = nil, &api.Error{Code: "map-stale", Text: "Old."} }), nil, "map-stale"},
		"no digest":   {edited(func(t *api.Table) { t.Digest = nil }), nil, "no digest"},
		"a node lost": {with(func(t *api.Table) { t.Nodes = t.Nodes[:14] }), nil, "not whole"},
		"node twice":  {with(func(t *api.Table) { t.Nodes[3].I = 2 }), nil, "twice"},
		"uneven":      {with(func(t *api.Table) { t.Nodes[3].U += 4 }), nil, "even grid"},
	} {
		t.Run(name, func(t *testing.T) {
			to := t.TempDir()
			code, out, errs, _ := carried(t, c.table, append([]string{"-o", filepath.Join(to, "x")}, c.word()...)...)
			if code != console.ExitRefused || out != "" || !strings.Contains(errs, c.says) {
				t.Fatalf("code %d\n%s\n%s", code, out, errs)
			}
			if left, _ := os.ReadDir(to); len(left) > 0 {
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
		if err := ask.InForce(table, c.in); (err != nil) != c.refuse {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestCarryToFile: the file appears only when it is whole, never over the source.
func TestCarryToFile(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "carried.gcode")
	code, _, errs, src := carried(t, twisted(0.2), "--approve", word(twisted(0.2)), "-o", out)
	if b, err := os.ReadFile(out); code != console.ExitDone || err != nil || !bytes.Contains(b, []byte("Z0.4")) {
		t.Fatalf("code %d, %v, %s", code, err, errs)
	}
	args := []string{"correction", "carry", "--table", filepath.Join(src, "table.json"), "--approve", word(twisted(0.2))}
	again := filepath.Join(dir, "again.gcode")
	if code := commands.Main(context.Background(), append(args, out, "-o", again), &bytes.Buffer{}, &bytes.Buffer{}); code != console.ExitRefused {
		t.Errorf("carried twice: code %d", code)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if code := commands.Main(context.Background(), append(args, out, "-o", out), &bytes.Buffer{}, &bytes.Buffer{}); code != console.ExitUsage {
		t.Errorf("onto itself: code %d", code)
	}
	if code := commands.Main(context.Background(), append(args, out, "-o", filepath.Join(src, "table.json")), &bytes.Buffer{}, &bytes.Buffer{}); code != console.ExitUsage {
		t.Errorf("onto the table: code %d", code)
	}
}

// TestCarryOwnersLimits: the owner's settings hold, wider ones too.
func TestCarryOwnersLimits(t *testing.T) {
	table := twisted(0.6)
	if code, _, errs, _ := carried(t, table, "--approve", word(table), "--set", "largest=1"); code != console.ExitDone {
		t.Errorf("code %d: %s", code, errs)
	}
}

// TestCarryOnto: -o takes the place of an older file, whose mode it keeps, and of
// nothing else.
func TestCarryOnto(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	made := errors.Join(os.Mkdir(at("directory"), 0o755), syscall.Mkfifo(at("pipe"), 0o600),
		os.WriteFile(at("file"), []byte("keep"), 0o600), os.Symlink("file", at("link")), os.Symlink("nowhere", at("loose")))
	if made != nil {
		t.Fatal(made)
	}
	cases := map[string]string{"directory": "name a file in it", "pipe": "redirect standard output", "link": "is a link to file", "loose": "is a link to nowhere", "none/x": "make it", "file/x": "make it", "": "names no file"}
	// The device that swallows everything (1, 3), by a name of the test's own.
	if err := syscall.Mknod(at("device"), syscall.S_IFCHR|0o600, 1<<8|3); err == nil {
		cases["device"] = "redirect standard output"
	} else {
		t.Logf("no device can be made here: %v", err)
	}
	before, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for name, says := range cases {
		out := name
		if name != "" {
			out = at(name)
		}
		code, _, errs, _ := carried(t, twisted(0.2), "--approve", word(twisted(0.2)), "-o", out)
		if code != console.ExitUsage || !strings.Contains(errs, says) {
			t.Errorf("-o %q: code %d, %s", name, code, errs)
		}
	}
	after, err := os.ReadDir(dir)
	if err != nil || len(after) != len(before) {
		t.Fatalf("%v, before %v (%v)", after, before, err)
	}
	for i := range after {
		if after[i].Name() != before[i].Name() || after[i].Type() != before[i].Type() {
			t.Errorf("%v became %v", before[i], after[i])
		}
	}
	if b, err := os.ReadFile(at("file")); string(b) != "keep" {
		t.Errorf("the file became %q (%v)", b, err)
	}
	code, _, errs, _ := carried(t, twisted(0.2), "--approve", word(twisted(0.2)), "-o", at("file"))
	i, err := os.Stat(at("file"))
	if code != console.ExitDone || err != nil || i.Size() < 50 || i.Mode() != 0o600 {
		t.Errorf("code %d, %v %v: %s", code, i, err, errs)
	}
}

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// TestCarryDiskFull: the name is not taken, nothing is left behind, and the error says
// what to do.
func TestCarryDiskFull(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "x")
	err := console.Becomes(name, func(w io.Writer) error {
		_, err := printfile.Rewrite(full{}, strings.NewReader("G28\n"), flatGrid(t), printfile.Defaults())
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "the disk is full: make room") {
		t.Error(err)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	var errs bytes.Buffer
	_, _, _, src := carried(t, twisted(0.2))
	args := []string{"correction", "carry", filepath.Join(src, "part.gcode"), "--table", filepath.Join(src, "table.json"), "--approve", word(twisted(0.2))}
	if code := commands.Main(context.Background(), args, full{}, &errs); code != console.ExitCould || !strings.Contains(errs.String(), "The disk is full: make room") || !strings.Contains(errs.String(), "must not be printed") {
		t.Errorf("code %d: %s", code, errs.String())
	}
}

func flatGrid(t *testing.T) *printfile.Grid {
	t.Helper()
	g, err := printfile.NewGrid(0, 0, 1, 1, [][]float64{{0, 0}, {0, 0}})
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestCarryTableFiles: what is no table is said so in words, with what to give instead.
func TestCarryTableFiles(t *testing.T) {
	for text, says := range map[string]string{
		"":                            "is empty",
		" \n":                         "is empty",
		"[]":                          "is no table, which is JSON and begins with {",
		"null":                        "is no table",
		"5":                           "is no table",
		"G1 X5":                       "is no table",
		"{}":                          "neither a table nor the record of a run",
		"{\"nodes\":5}":               "stands a number that no table has there",
		"{\"nodes\":[{\"i\":\"a\"}]}": "stands a string that no table has there",
		"{\"refused\":5}":             "stands a number that no table has there",
		"{\"table\":[]}":              "stands a array that no table has there",
		"{\"nodes\":[":                "breaks off after 10 bytes",
		"{\"nodes\":}":                "at byte 10 it is not JSON",
		"{\"nodes\":[]}}":             "at byte 13 it is not JSON",
	} {
		name := filepath.Join(t.TempDir(), "table.json")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		code := commands.Main(context.Background(), []string{"correction", "carry", "part.gcode", "--table", name}, &out, &errs)
		if code != console.ExitUsage || !strings.Contains(errs.String(), says) || strings.Contains(errs.String(), "struct") || strings.Contains(errs.String(), "Go value") {
			t.Errorf("%q: code %d: %s", text, code, errs.String())
		}
	}
}

// TestCarryManyNodes: a table is held to its limits in a time that grows as its nodes:
// 90,000 of them took 16 s once.
func TestCarryManyNodes(t *testing.T) {
	const side = 300
	var table api.Table
	for j := range side {
		for i := range side {
			table.Nodes = append(table.Nodes, api.Node{I: i, J: j, U: float64(i), V: float64(j), Add: 0.0001 * float64(i), U95: 0.001})
		}
	}
	began := processorTime(t)
	g, nodes, err := ask.Grid(table)
	if err != nil {
		t.Fatal(err)
	}
	limits := record.DefaultCriteria()
	if err := ask.Within(nodes, g, limits); err != nil {
		t.Error(err)
	}
	nodes[7][9].Add += 0.2
	if err := ask.Within(nodes, g, limits); err == nil || !strings.Contains(err.Error(), "neighbouring") {
		t.Error(err)
	}
	if d := processorTime(t) - began; d > 4*time.Second {
		t.Errorf("it took %v", d)
	}
	table.Nodes[5].I, table.Nodes[6].J = 1<<40, 1<<62
	if _, _, err := ask.Grid(table); err == nil {
		t.Error("a table of 2^102 nodes was taken")
	}
}

func processorTime(t *testing.T) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// TestCarryEnds: what holds is told: in full over the first two layers, and an end at a
// rate of 0.02.
func TestCarryEnds(t *testing.T) {
	code, _, errs, _ := carried(t, twisted(0.2), "--approve", word(twisted(0.2)))
	if says := "in full up to Z 0.4 mm and has ended at 10.4 mm"; code != console.ExitDone || !strings.Contains(errs, says) {
		t.Errorf("code %d: %s", code, errs)
	}
}
