package e2e_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"text/template"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/gcode/printfile"
	"abbed/probe/record"
)

var updateWorked = flag.Bool("worked.update", false, "write deploy/docs/understand.md again")

const workedRecord, workedPage = "../../..//deploy/docs/worked-example.json", "../../..//deploy/docs/understand.md"

// worked tells the worked example: its methods are the words of the template.
type worked struct {
	t    *testing.T
	dir  string
	run  record.Run
	last string // what the last command said
}

// abbed runs a command as it stands on the page, and returns it.
func (w *worked) abbed(line string) string {
	w.t.Helper()
	var args []string
	for _, a := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1) {
		switch a = strings.Trim(a, `"`); {
		case a == "worked-example.json":
			a = workedRecord
		case strings.HasPrefix(a, "proof."):
			if !strings.Contains(a, "=") {
				a = filepath.Join(w.dir, a)
			}
		}
		args = append(args, a)
	}
	var out, errs bytes.Buffer
	if code := commands.Main(context.Background(), args, &out, &errs); code != console.ExitDone {
		w.t.Fatalf("abbed %s: code %d\n%s%s", line, code, out.String(), errs.String())
	}
	w.last = out.String() + errs.String()
	return "abbed " + line
}

// pick returns what a pattern's group matches in what the last command said.
func (w *worked) pick(pattern string) string {
	w.t.Helper()
	m := regexp.MustCompile("(?m)" + pattern).FindStringSubmatch(w.last)
	if m == nil {
		w.t.Fatalf("the command does not say %s:\n%s", pattern, w.last)
	}
	return m[1]
}

func (w *worked) value(pattern string) float64 {
	w.t.Helper()
	v, err := strconv.ParseFloat(w.pick(pattern), 64)
	if err != nil {
		w.t.Fatal(err)
	}
	return v
}

// byHand are the sums that the page does beside the command's, as it does them: by
// the sine (handbook trigonometry), from what was printed.
type byHand struct{ Shim, Over, Roll, Width, Cost, Rocks, In, Out, Gap, Step, GapU string }

func (w *worked) hand() byHand {
	w.t.Helper()
	f := func(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }
	const deg = 180 / math.Pi
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, g := range w.run.Gaugings {
		lo, hi = math.Min(lo, g.Place.U), math.Max(hi, g.Place.U)
	}
	shim := w.value(`shim of (\S+) mm under`)
	over := math.Asin(shim/20) * deg
	roll := over * (hi - lo) / 300
	cost, rocks := w.run.Setup.Lever.Y*math.Sin(roll/deg), 17*math.Sin(over/deg)
	if want := (w.value(`Now it is (\S+) mm to`) + w.value(`mm to (\S+) mm\.`)) / 2; math.Abs(cost/2-want) > 0.015 {
		w.t.Errorf("by hand %.3f mm on either side, the command %.3f", cost/2, want)
	}
	if want := w.value(`right corner is (\S+) ±`); math.Abs(rocks-want) > 0.011 {
		w.t.Errorf("by hand it rocks by %.3f mm, the command says %.3f", rocks, want)
	}
	in, out := w.value(`feeler gauge of (\S+) mm goes`), w.value(`One of (\S+) mm does not`)
	return byHand{f(shim, 2), f(over, 3), f(roll, 3), f(hi-lo, 0), f(cost, 3), f(rocks, 3), f(in, 2), f(out, 2),
		f((in+out)/2, 3), f(out-in, 2), f((out-in)/math.Sqrt(12), 4)}
}

// mapfall is by how much the stored map falls from its first column to its last,
// the mean over its rows, mm.
func (w *worked) mapfall() string {
	sum := 0.0
	for _, row := range w.run.Map.Nodes {
		sum += float64(row[0]-row[len(row)-1]) / 1000 / float64(len(w.run.Map.Nodes))
	}
	return fmt.Sprintf("%.2f", sum)
}

// level is half of what the nozzle's contacts differ by, mm.
func (w *worked) level() string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, g := range w.run.Gaugings {
		lo, hi = math.Min(lo, g.Z-g.Blade), math.Max(hi, g.Z-g.Blade)
	}
	return fmt.Sprintf("%.2f", (hi-lo)/2)
}

func (w *worked) table() analysis.Table {
	w.t.Helper()
	table, why := analysis.Judge(w.run).Table(w.run)
	if why != nil {
		w.t.Fatal(why)
	}
	return table
}

// lower is by how much the correction lowers the nozzle at a node, mm.
func (w *worked) lower(i, j int) string {
	w.t.Helper()
	table := w.table()
	return fmt.Sprintf("%.2f", -float64(table.Nodes[j*table.Columns+i].Add)/1000)
}

// ends is how far above the first layers the largest correction has ended, mm.
func (w *worked) ends(fade float64) string {
	w.t.Helper()
	largest := 0.0
	for _, n := range w.table().Nodes {
		largest = max(largest, math.Abs(float64(n.Add))/1000)
	}
	return fmt.Sprintf("%.1f", largest/fade)
}

// TestWorkedExample: each number of the worked example is what the commands beside
// it print, or what comes of that by hand.
func TestWorkedExample(t *testing.T) {
	b, err := os.ReadFile(workedRecord)
	if err != nil {
		t.Fatal(err)
	}
	run, err := console.ReadRecord(b)
	if err != nil {
		t.Fatal(err)
	}
	w := &worked{t: t, dir: t.TempDir(), run: run}
	page := template.Must(template.New("").Funcs(template.FuncMap{
		"abbed": w.abbed, "pick": w.pick, "hand": w.hand, "mapfall": w.mapfall, "level": w.level, "lower": w.lower, "ends": w.ends,
		"num": func(v any) string { return fmt.Sprint(v) },
	}).ParseFiles("testdata/understand.md.tmpl"))
	s := config.Default()
	var out bytes.Buffer
	err = page.ExecuteTemplate(&out, "understand.md.tmpl", map[string]any{
		"Bed": run.Setup.Bed.W(), "Lever": run.Setup.Lever.Y, "Fade": printfile.Defaults().Fade,
		"PatchU": record.PatchU, "Tolerance": s.Tolerance,
	})
	if err != nil {
		t.Fatal(err)
	}
	sameText(t, workedPage, out.String())
	for name, text := range drawings(t, run) {
		sameText(t, filepath.Join(filepath.Dir(workedPage), name), text)
	}
}

// sameText compares a document with what it should be, or writes it.
func sameText(t *testing.T, name, want string) {
	t.Helper()
	if *updateWorked {
		if err := os.WriteFile(name, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	is, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(want, "\n")
	for i, line := range strings.Split(string(is), "\n") {
		if i >= len(lines) || line != lines[i] {
			t.Fatalf("%s:%d:\n%.300s\nworked out again (-worked.update writes it):\n%.300s", name, i+1, line, lines[min(i, len(lines)-1)])
		}
	}
}

// TestLookUp: the list of commands is that of the program.
func TestLookUp(t *testing.T) {
	chosen := 0
	for _, f := range config.Fields() {
		if !f.More {
			chosen++
		}
	}
	page := template.Must(template.New("").Funcs(template.FuncMap{
		"commands": func() string {
			var b strings.Builder
			listCommands(&b, commands.Commands())
			return b.String()
		},
		"settings": func() int { return chosen },
	}).ParseFiles("testdata/lookup.md.tmpl"))
	var out bytes.Buffer
	if err := page.ExecuteTemplate(&out, "lookup.md.tmpl", nil); err != nil {
		t.Fatal(err)
	}
	sameText(t, "../../..//deploy/docs/lookup.md", out.String())
}

// listCommands writes a line for each command that does something.
func listCommands(b *strings.Builder, c *cobra.Command) {
	for _, below := range c.Commands() {
		if below.Name() == "settings" || below.Name() == "bench" || below.Name() == "help" {
			continue
		}
		if below.HasSubCommands() {
			listCommands(b, below)
			continue
		}
		name := strings.TrimSuffix(below.UseLine(), " [flags]")
		fmt.Fprintf(b, "- `%s`: %s\n", strings.ReplaceAll(name, "|", " or "), below.Short)
	}
}
