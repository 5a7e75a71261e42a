package known_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"abbed/config"
	"abbed/daemon/known"
	"abbed/gcode"
)

// talker answers questions from a table; to all others it says ok.
type talker map[string][]string

func (t talker) Ask(_ context.Context, q gcode.Query) (gcode.Reply, error) {
	r := gcode.Reply{OK: gcode.ParseLine([]byte("ok"))}
	for _, l := range t[q.Text()] {
		r.Lines = append(r.Lines, gcode.ParseLine([]byte(l)))
	}
	return r, nil
}

// Shapes that are not understood by themselves: what is proposed can be pasted,
// and makes them understood. The shapes are common practice, no source.
func TestProposals(t *testing.T) {
	const flat = "  0.010 0.020 0.030"
	for _, c := range []struct {
		name string
		says talker
		// sure are the keys that are proposed as tried, open those to be filled in.
		sure, open []string
		lever      [3]float64 // with the Z offset
		travel     [6]float64
	}{
		{name: "everything is said", says: talker{
			"M851": {"M851 X-40.00 Y-10.00 Z-1.20"}, "M211": {"Soft endstops: On Min: X0.0 Y0.0 Z0.0 Max: X235.0 Y230.0 Z250.0"},
			"M420 V": {" 0 1 2", "0" + flat, "1" + flat},
		}, open: []string{"bed", "map_area", "zero_at"}, lever: [3]float64{-40, -10, -1.2}, travel: [6]float64{0, 0, 0, 235, 230, 250}},
		{name: "bare numbers, ranges, and another word for the map", says: talker{
			"M851":    {"echo:Probe offset: -40.00, -10.00, -1.20"},
			"M211":    {"Travel range: [0 .. 235] [0 .. 230] [-2 .. 250]"},
			"M420 V1": {" 0 1 2", "0" + flat, "1" + flat},
		}, sure: []string{"words.patterns.lever", "words.patterns.limits", "words.templates.map"}, open: []string{"bed", "map_area", "zero_at"},
			lever: [3]float64{-40, -10, -1.2}, travel: [6]float64{0, 0, -2, 235, 230, 250}},
		{name: "the lever under a title in the settings", says: talker{
			"M503": {"echo:; Steps per unit:", "echo:  M92 X80.00 Y80.00 Z400.00", "echo:; Z-Probe (mm):", "echo:  G31 X-38.50 Y5.00 Z-0.90"},
		}, sure: []string{"words.patterns.lever"}, open: []string{"travel", "bed", "zero_at"}, lever: [3]float64{-38.5, 5, -0.9}},
		{name: "two orders make sense", says: talker{
			"M851": {"M851 X-40.00 Y-10.00 Z-1.20"}, "M211": {"limits 0 40 80 120 160 200"},
		}, open: []string{"travel", "bed", "zero_at"}, lever: [3]float64{-40, -10, -1.2}},
		{name: "nothing is said", says: talker{"M851": {`echo:Unknown command: "M851"`}},
			open: []string{"lever", "trigger", "travel", "probe.style", "bed", "zero_at"}},
		{name: "a Z offset above the bed", says: talker{"M851": {"M851 X-40.00 Y-10.00 Z1.20"}},
			open: []string{"trigger", "travel", "bed", "zero_at"}, lever: [3]float64{-40, -10, 1.2}},
		{name: "steps are no lever", says: talker{"M503": {"echo:  M92 X80.00 Y80.00 Z400.00", "echo:  M206 X1.00 Y2.00 Z3.00"}},
			open: []string{"lever", "trigger", "travel", "probe.style", "bed", "zero_at"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, err := known.Examine(t.Context(), c.says, config.Default())
			if err != nil {
				t.Fatal(err)
			}
			var sure, open []string
			for _, p := range e.Proposals {
				if p.Sure {
					sure = append(sure, p.Key)
				} else {
					open = append(open, p.Key)
				}
			}
			slices.Sort(sure)
			if !slices.Equal(sure, c.sure) || !slices.Equal(open, c.open) {
				t.Errorf("proposed %v and %v, want %v and %v\n%s", sure, open, c.sure, c.open, known.YAML(e.Proposals))
			}
			again, err := known.Examine(t.Context(), c.says, pasted(t, known.YAML(e.Proposals)))
			if err != nil {
				t.Fatal(err)
			}
			f := again.Facts
			if want := c.lever; want != ([3]float64{}) && (f.Lever == nil || f.Lever.X != want[0] || f.Lever.Y != want[1] || *f.ZOffset != want[2]) {
				t.Errorf("pasted, the lever is %v %v, want %v\n%s", f.Lever, f.ZOffset, want, known.YAML(e.Proposals))
			}
			if want := c.travel; want != ([6]float64{}) {
				if f.Travel == nil || [6]float64{f.Travel.X0, f.Travel.Y0, f.Travel.Z0, f.Travel.X1, f.Travel.Y1, f.Travel.Z1} != want {
					t.Errorf("pasted, the travel is %v, want %v", f.Travel, want)
				}
			} else if f.Travel != nil {
				t.Errorf("travel %v out of nothing", *f.Travel)
			}
		})
	}
}

// pasted loads what is proposed as a settings file.
func pasted(t *testing.T, yaml string) config.Settings {
	t.Helper()
	file := filepath.Join(t.TempDir(), "abbed.yaml")
	if strings.TrimSpace(yaml) == "" {
		t.Fatal("nothing is proposed")
	}
	if err := os.WriteFile(file, []byte(yaml), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := config.Load(config.Options{File: file, Environ: []string{"HOME=/h"}})
	if err != nil {
		t.Fatalf("what is proposed does not load: %v\n%s", err, yaml)
	}
	return s
}

// What is to be filled in loads as well, once it is uncommented.
func TestProposalsUncommented(t *testing.T) {
	e, err := known.Examine(t.Context(), talker{}, config.Default())
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, line := range strings.Split(known.YAML(e.Proposals), "\n") {
		if bare, comment := strings.CutPrefix(line, "#"); comment && !strings.HasPrefix(bare, " ") {
			line = bare
		}
		b.WriteString(line + "\n")
	}
	s := pasted(t, b.String())
	if s.Bed == nil || s.Lever == nil || s.Trigger == nil || s.Travel == nil || s.ZeroAt == nil || s.Probe.Style != config.StyleStraight {
		t.Errorf("%+v\n%s", s, b.String())
	}
}
