package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// TestBenchCheck by hand: 0.2618 mm under 20 mm is 0.75 deg (sin 0.75 deg =
// 0.0130896), which costs 0.5236 mm at 40 mm; ANSI H35.2 allows a 20 x 20 just that
// over 250 mm, so that with any doubt nobody can tell.
func TestBenchCheck(t *testing.T) {
	var out, errs bytes.Buffer
	args := []string{"bench-check", "--json", "--gap", "0.261792", "--width", "20", "--length", "250"}
	if code := Main(context.Background(), args, &out, &errs); code != exitDone {
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
		if code := Main(context.Background(), append([]string{"bench-check"}, bad...), &out, &errs); code != exitUsage || !strings.Contains(errs.String(), "bench-check") {
			t.Errorf("%v: code %d, %s", bad, code, errs.String())
		}
	}
}

// TestRepairRefuses: a run that tells no twist gives no shim.
func TestRepairRefuses(t *testing.T) {
	if r, err := rollOf(analysis.Judge(record.Run{}), record.Lever{Y: 40}); err == nil {
		t.Errorf("an empty run gave %+v", r)
	}
}
