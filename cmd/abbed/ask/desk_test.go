package ask_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/probe/record"
)

// TestBenchCheck by hand: 0.2618 mm under 20 mm is 0.75 deg (sin 0.75 deg =
// 0.0130896), which costs 0.5236 mm at 40 mm; ANSI H35.2 allows a 20 x 20 just that
// over 250 mm, so that with any doubt nobody can tell.
func TestBenchCheck(t *testing.T) {
	var out, errs bytes.Buffer
	args := []string{"workshop", "profile", "--json", "--gap", "0.261792", "--width", "20", "--length", "250"}
	if code := commands.Main(context.Background(), args, &out, &errs); code != console.ExitDone {
		t.Fatalf("code %d: %s", code, errs.String())
	}
	var got struct {
		Twist   struct{ Value, U float64 } `json:"twist_deg"`
		Cost    struct{ Value, U float64 } `json:"cost_mm"`
		Verdict string                     `json:"verdict"`
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Twist.Value-0.75) > 1e-4 || math.Abs(got.Cost.Value-0.5236) > 1e-4 || got.Verdict != "cannot-tell" || !(got.Twist.U > 0) {
		t.Errorf("%+v", got)
	}
	for _, bad := range [][]string{nil, {"--gap", "0.1", "--width", "20"}, {"--gap", "30", "--width", "20", "--length", "250"}, {"--gap", "0.1", "--width", "20", "--length", "250", "--reference", "5"}} {
		errs.Reset()
		if code := commands.Main(context.Background(), append([]string{"workshop", "profile"}, bad...), &out, &errs); code != console.ExitUsage || !strings.Contains(errs.String(), "profile") {
			t.Errorf("%v: code %d, %s", bad, code, errs.String())
		}
	}
}

// TestBenchCheckSays: a gap of 0 with blades of 0.05 mm is 0.000 ±0.060 mm at a lever
// of 40 mm, by hand, and a first layer bears 0.03: nobody can tell.
func TestBenchCheckSays(t *testing.T) {
	for gap, want := range map[string]string{"0": "is not known", "0.3": "A first layer shows"} {
		var out, errs bytes.Buffer
		if code := commands.Main(context.Background(), []string{"workshop", "profile", "--gap", gap, "--width", "20", "--length", "250"}, &out, &errs); code != console.ExitDone || !strings.Contains(out.String(), want) {
			t.Errorf("gap %s: code %d, %s%s", gap, code, out.String(), errs.String())
		}
	}
}

// TestRepairRefuses: a run that tells nothing gives no step, and says what to do.
func TestRepairRefuses(t *testing.T) {
	run := record.Run{Setup: record.Setup{Lever: record.Lever{Y: 40}}}
	a, err := results.RepairOf(run, analysis.Judge(run), results.Asked(api.AskRepair{}, config.Default()), false)
	if err != nil || len(a.Steps) != 0 || !strings.Contains(a.Why, "Run the gauging") || !strings.Contains(a.Missing, "desk.supports") || len(a.Cautions) == 0 {
		t.Errorf("an empty run gave %+v, %v", a, err)
	}
	for _, bad := range []api.AskRepair{{Pitch: -0.7}, {Mounting: -1}, {Rails: math.Inf(1)}} {
		if _, err := results.RepairOf(run, analysis.Judge(run), results.Asked(bad, config.Default()), false); err == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
}

// TestTramByTheNozzle by hand: the nozzle meets the bed at z = 0.002 x - 0.001 y. At the
// supports (0,0), (200,0), (100,200) that is 0, 0.4 and 0: the first stays, the second goes
// down by 0.4 mm, 0.4 / 0.7 = 0.571 turns, five eighths; the third stays as it is.
func TestTramByTheNozzle(t *testing.T) {
	run := record.Run{Version: 1}
	for i, p := range []record.Place{{U: 10, V: 10}, {U: 190, V: 20}, {U: 100, V: 100}, {U: 20, V: 180}, {U: 180, V: 190}, {U: 100, V: 20}, {U: 100, V: 180}} {
		run.Gaugings = append(run.Gaugings, record.Gauging{Place: p, Z: 0.002*p.U - 0.001*p.V + 0.1, Blade: 0.1, T: float64(i)})
	}
	ask := api.AskRepair{Pitch: 0.7, Supports: []api.XY{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 100, Y: 200}}}
	a, err := results.RepairOf(run, analysis.Judge(run), results.Asked(ask, config.Default()), false)
	if err != nil || len(a.Steps) < 3 || a.Steps[0].ID != "screws" || a.Steps[1].ID != "z-offset" || a.Steps[2].ID != "measure" {
		t.Fatalf("%v %+v", err, a)
	}
	s := a.Steps[0].Screws
	if len(s) != 3 || s[1].Eighths != -5 || s[2].Eighths != 0 || math.Abs(s[1].Turns.Value+0.4/0.7) > 1e-4 || s[1].Says != "X 200, Y 0: lower the bed by 5/8 turn (0.40 mm)." {
		t.Errorf("%+v", s)
	}
	run.Gaugings = run.Gaugings[:3]
	if a, _ = results.RepairOf(run, analysis.Judge(run), results.Asked(ask, config.Default()), false); len(a.Steps) != 0 {
		t.Errorf("three points gave %+v", a)
	}
}

// TestProofPrintCommand: a file and a worksheet without any printer; what is missing
// is said with its setting.
func TestProofPrintCommand(t *testing.T) {
	dir := t.TempDir()
	file, sheet := filepath.Join(dir, "p.gcode"), filepath.Join(dir, "p.html")
	var out, errs bytes.Buffer
	args := []string{"workshop", "patches", "--bed", "0,0,235,235", "--set", "proof.nozzle=210", "--set", "proof.bed=60", "-o", file, "--worksheet", sheet, "--paper", "letter"}
	if code := commands.Main(context.Background(), args, &out, &errs); code != console.ExitDone || !strings.Contains(errs.String(), "power switch") {
		t.Fatalf("code %d: %s", code, errs.String())
	}
	g, _ := os.ReadFile(file)
	h, _ := os.ReadFile(sheet)
	if !bytes.Contains(g, []byte("M109 S210")) || !bytes.Contains(h, []byte("size: letter")) {
		t.Error("file or worksheet is not what was asked for")
	}
	errs.Reset()
	if code := commands.Main(context.Background(), []string{"workshop", "patches", "--bed", "0,0,235,235"}, &out, &errs); code != console.ExitUsage || !strings.Contains(errs.String(), "proof.nozzle") {
		t.Errorf("code %d: %s", code, errs.String())
	}
	// It can be carried: the correction then goes into the proof print too.
	table := twisted(0.2)
	b, err := json.Marshal(table)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "table.json"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	errs.Reset()
	if code := commands.Main(context.Background(), []string{"correction", "carry", file, "--table", filepath.Join(dir, "table.json"), "--approve", word(table), "-o", filepath.Join(dir, "c.gcode")}, &out, &errs); code != console.ExitDone || !strings.Contains(errs.String(), "between -0.2") {
		t.Errorf("code %d: %s", code, errs.String())
	}
}
