package metrics_test

import (
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"

	"abbed/daemon/metrics"
	"abbed/daemon/status"
)

// table is the document for people.
const table = "../../deploy/metrics/metrics.md"

const (
	begin = "<!-- the table begins: go test ./daemon/metrics -update writes it -->\n"
	end   = "<!-- the table ends -->\n"
)

// TestDocumented: the documented table says of every metric its kind, its
// labels with their words, and its help, as the code has them, and names no
// other.
func TestDocumented(t *testing.T) {
	b, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	before, rest, ok := strings.Cut(text, begin)
	said, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatal("the marks of the table are gone")
	}
	want := rows(t)
	if *update {
		if err := os.WriteFile(table, []byte(before+begin+want+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if said != want {
		t.Errorf("the table is not that of the code; run with -update and look at it. It should be:\n%s", want)
	}
}

// rows writes the table from a snapshot in which everything is known.
func rows(t *testing.T) string {
	t.Helper()
	board := status.New()
	board.Publish(busy())
	families, err := metrics.Registry(board).Gather()
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	out.WriteString("| metric | kind | labels | says |\n|---|---|---|---|\n")
	for _, name := range metrics.Names() {
		i := slices.IndexFunc(families, func(f *dto.MetricFamily) bool { return f.GetName() == name })
		if i < 0 {
			t.Errorf("%s is not shown although everything is known", name)
			continue
		}
		f := families[i]
		fmt.Fprintf(&out, "| `%s` | %s | %s | %s |\n", name, strings.ToLower(f.GetType().String()), labels(f), f.GetHelp())
	}
	return out.String()
}

// labels names the labels of a family with the words that they take.
func labels(f *dto.MetricFamily) string {
	var names []string
	words := map[string][]string{}
	for _, m := range f.Metric {
		for _, l := range m.Label {
			if !slices.Contains(names, l.GetName()) {
				names = append(names, l.GetName())
			}
			words[l.GetName()] = append(words[l.GetName()], l.GetValue())
		}
	}
	for i, n := range names {
		switch {
		case f.GetName() == "abbed_build_info":
			names[i] = n
		case n == "step":
			names[i] = "step: the steps of a run by their names in the API, `prepare`, `prove`, `apply`, `undo`"
		default:
			names[i] = n + ": " + strings.Join(words[n], ", ")
		}
	}
	return strings.Join(names, "; ")
}

// TestBounded: what a printer or a run says can make no series of its own.
func TestBounded(t *testing.T) {
	count := func(s status.Snapshot) (n int) {
		b := status.New()
		b.Publish(s)
		families, err := metrics.Registry(b).Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			n += len(f.Metric)
		}
		return n
	}
	s := busy()
	was := count(s)
	s.Printer.Link, s.Run.State, s.Applied.Error = "made up", "made up", nil
	s.Printer.Todo[0].ID = "made up"
	s.Analysis.Findings[0].ID = "made up"
	s.Printer.Identity = map[string]string{"NAME": "x"}
	if n := count(s); n != was {
		t.Errorf("%d series became %d", was, n)
	}
	const most = 120
	if was > most {
		t.Errorf("%d series for one printer, at most %d", was, most)
	}
	t.Logf("%d series", was)
}

// TestPromtool: the checker that comes with Prometheus (Debian's package
// prometheus) finds nothing wrong with the text.
func TestPromtool(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("promtool is missing: .ci/run installs Debian's package prometheus")
		}
		t.Skip("promtool (Debian's package prometheus) is not here: its check is left out")
	}
	b := status.New()
	for name, s := range map[string]status.Snapshot{"everything is known": busy(), "nothing is known": {At: time.Unix(1, 0)}} {
		b.Publish(s)
		c := exec.Command(tool, "check", "metrics")
		c.Stdin = strings.NewReader(scrape(b))
		if said, err := c.CombinedOutput(); err != nil || len(said) > 0 {
			t.Errorf("%s: %v\n%s", name, err, said)
		}
	}
}
