// Package metrics_test holds the metrics stack together: rules, alerts, runbook,
// pages and the metrics that the daemon shows.
package metrics_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"abbed/config/say/saytest"
)

func read(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// promtool returns the checker of Debian's package prometheus; where it is
// missing the test ends.
func promtool(t *testing.T) string {
	t.Helper()
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("promtool is missing: .ci/run installs Debian's package prometheus")
		}
		t.Skip("promtool (Debian's package prometheus) is not here: the rules are not tested")
	}
	return tool
}

// rule is what the tests need of a rule.
type rule struct {
	Record, Alert, Expr string
	Labels              map[string]string
	Annotations         map[string]string
}

func rules(t *testing.T) (all []rule) {
	t.Helper()
	for _, file := range []string{"rules/abbed-recording.yml", "rules/abbed-alerts.yml"} {
		var f struct{ Groups []struct{ Rules []rule } }
		if err := yaml.Unmarshal([]byte(read(t, file)), &f); err != nil {
			t.Fatal(err)
		}
		for _, g := range f.Groups {
			all = append(all, g.Rules...)
		}
	}
	return all
}

// TestRules: promtool takes configuration and rules, and their unit tests pass.
func TestRules(t *testing.T) {
	tool := promtool(t)
	for _, args := range [][]string{
		{"check", "config", "prometheus.yml"},
		{"test", "rules", "rules/abbed-tests.yml", "rules/abbed-tests-weeks.yml"},
	} {
		if said, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, said)
		}
	}
}

// TestRulesCanFail: the unit tests are no ornament: an alert that never fires,
// and one that always does, are found.
func TestRulesCanFail(t *testing.T) {
	tool := promtool(t)
	for name, change := range map[string][2]string{
		"never":  {`abbed_to_do{id="not-verified"} == 1`, `abbed_to_do{id="not-verified"} == 2`},
		"always": {`abbed_steady == 0`, `abbed_steady >= 0`},
	} {
		dir := t.TempDir()
		for _, file := range []string{"abbed-recording.yml", "abbed-alerts.yml", "abbed-tests.yml"} {
			text := read(t, "rules/"+file)
			if file == "abbed-alerts.yml" {
				text = strings.Replace(text, change[0], change[1], 1)
			}
			if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if exec.Command(tool, "test", "rules", filepath.Join(dir, "abbed-tests.yml")).Run() == nil {
			t.Errorf("a rule that fires %s passes", name)
		}
	}
}

// TestEachAlert: each alert says what it is, what to do and how soon, has a
// paragraph in the runbook, and is tested both firing and at rest.
func TestEachAlert(t *testing.T) {
	runbook := read(t, "runbook.md")
	tests := read(t, "rules/abbed-tests.yml") + read(t, "rules/abbed-tests-weeks.yml")
	var alerts []string
	for _, r := range rules(t) {
		if r.Alert == "" {
			continue
		}
		alerts = append(alerts, r.Alert)
		if !slices.Contains([]string{"now", "soon", "info"}, r.Labels["severity"]) {
			t.Errorf("%s has the severity %q", r.Alert, r.Labels["severity"])
		}
		if r.Annotations["summary"] == "" || r.Annotations["action"] == "" {
			t.Errorf("%s does not say what it is and what to do", r.Alert)
		}
		// An anchor is the heading in small letters (common practice of what draws
		// Markdown, no source).
		if want := "runbook.md#" + strings.ToLower(r.Alert); r.Annotations["runbook"] != want {
			t.Errorf("%s points to %q, not %q", r.Alert, r.Annotations["runbook"], want)
		}
		_, paragraph, ok := strings.Cut(runbook, "\n## "+r.Alert+"\n")
		paragraph, _, _ = strings.Cut(paragraph, "\n## ")
		if !ok || len(strings.Fields(paragraph)) < 25 {
			t.Errorf("%s has no paragraph in the runbook", r.Alert)
		}
		rest := regexp.MustCompile(`alertname: ` + r.Alert + `, exp_alerts: \[\]`)
		fires := regexp.MustCompile(`alertname: ` + r.Alert + `\n +exp_alerts:\n +- exp_labels`)
		if !fires.MatchString(tests) || !rest.MatchString(tests) {
			t.Errorf("%s is not tested both firing and at rest", r.Alert)
		}
	}
	for _, m := range regexp.MustCompile(`(?m)^## (\w+)$`).FindAllStringSubmatch(runbook, -1) {
		if !slices.Contains(alerts, m[1]) {
			t.Errorf("the runbook tells of %s, which is no alert", m[1])
		}
	}
}

// TestNames: whatever rules and pages ask for is a metric of the documented
// table, or a rule that records it.
func TestNames(t *testing.T) {
	known := map[string]bool{}
	for _, m := range regexp.MustCompile("(?m)^\\| `(abbed_[a-z_]+)`").FindAllStringSubmatch(read(t, "metrics.md"), -1) {
		known[m[1]] = true
	}
	for _, r := range rules(t) {
		known[r.Record] = true
	}
	name := regexp.MustCompile(`\babbed[_:][a-z_0-9]+(?::[a-z_0-9]+)*\b`)
	for _, file := range []string{"rules/abbed-recording.yml", "rules/abbed-alerts.yml", "rules/abbed-tests.yml", "rules/abbed-tests-weeks.yml", "consoles/abbed.html", "dashboard.html", "runbook.md"} {
		found := name.FindAllString(read(t, file), -1)
		if len(found) == 0 {
			t.Errorf("%s asks for nothing", file)
		}
		for _, n := range found {
			if !known[n] {
				t.Errorf("%s asks for %s, which is not there", file, n)
			}
		}
	}
}

// TestDashboard: the list of panels can be read, and each says what it is for.
func TestDashboard(t *testing.T) {
	_, rest, ok := strings.Cut(read(t, "dashboard.html"), `<script type="application/json" id="dashboard">`)
	text, _, ok2 := strings.Cut(rest, "</script>")
	var d struct {
		Panels []struct{ Title, Unit, Query, Limit, For string }
	}
	if err := json.Unmarshal([]byte(text), &d); err != nil || !ok || !ok2 {
		t.Fatal(err, ok, ok2)
	}
	if len(d.Panels) < 10 {
		t.Errorf("%d panels", len(d.Panels))
	}
	for _, p := range d.Panels {
		if p.Title == "" || p.For == "" || !strings.Contains(p.Query, "INSTANCE") {
			t.Errorf("a panel lacks something: %+v", p)
		}
	}
}

// TestPackaged: what Prometheus needs is in the package; and no number of the dashboard keeps
// the exponent that a browser gives to 1000 of three digits.
func TestPackaged(t *testing.T) {
	list := read(t, "../package/nfpm.yaml")
	for _, file := range []string{"prometheus.yml", "scrape.yml", "dashboard.html", "consoles/abbed.html", "rules/abbed-alerts.yml", "rules/abbed-recording.yml"} {
		if !strings.Contains(list, "src: deploy/metrics/"+file+",") {
			t.Errorf("%s is not in the package", file)
		}
	}
	if bad := regexp.MustCompile(`(?:^|[^+])\([^()]*\)\.toPrecision|toExponential`).FindString(read(t, "dashboard.html")); bad != "" {
		t.Errorf("an axis may read 1.00e+3: %s", bad)
	}
}

// TestPlainAlerts: what an alert says and asks for is in plain words.
func TestPlainAlerts(t *testing.T) {
	for _, r := range rules(t) {
		for _, key := range []string{"summary", "action"} {
			text := regexp.MustCompile(`\{\{ *(?:if|else|end)[^}]*\}\}`).ReplaceAllString(r.Annotations[key], " ") // one or the other
			text = regexp.MustCompile(`\{\{[^}]*\}\}`).ReplaceAllString(text, "9")
			for _, f := range saytest.Faults(text, saytest.Document) {
				t.Errorf("%s: %s\n\t%s", r.Alert, f, text)
			}
		}
	}
}

// TestOneJob: scrape.yml holds the job of prometheus.yml, and nothing else.
func TestOneJob(t *testing.T) {
	_, job, _ := strings.Cut(read(t, "scrape.yml"), "\n")
	if !strings.Contains(read(t, "prometheus.yml"), job) {
		t.Error("the job in scrape.yml is not that of prometheus.yml")
	}
}
