package e2e_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

const stack = "../../..//deploy/metrics"

// prometheus is a real one (Debian's package), in a directory of its own.
type prometheus struct {
	t   *testing.T
	url string
	cmd *exec.Cmd
	// patience is how long until waits.
	patience time.Duration
}

// startPrometheus has a real Prometheus scrape targets each second, with the
// configuration, rules and pages of deploy/metrics; only its intervals are
// shorter. Where quick, alerts wait for nothing, and an hour and half a year are 20 s.
func startPrometheus(t *testing.T, targets string, every string, quick bool) *prometheus {
	t.Helper()
	program, err := exec.LookPath("prometheus")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("prometheus is missing: .ci/run installs Debian's package")
		}
		t.Skip("prometheus (Debian's package) is not here: nothing scrapes")
	}
	dir := memoryDir(t)
	put := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"prometheus.yml", "rules/abbed-recording.yml", "rules/abbed-alerts.yml", "consoles/abbed.html", "dashboard.html"} {
		b, err := os.ReadFile(filepath.Join(stack, name))
		if err != nil {
			t.Fatal(err)
		}
		text := regexp.MustCompile(`(scrape_interval|evaluation_interval): \w+`).ReplaceAllString(string(b), "$1: "+every)
		text = regexp.MustCompile(`(?m)^( +)interval: \w+`).ReplaceAllString(text, "${1}interval: "+every)
		text = strings.ReplaceAll(text, "/etc/abbed/scrape", dir)
		text = strings.ReplaceAll(text, "/*.yml", "/left*.yml")
		if quick {
			text = regexp.MustCompile(`(?m)^( +)for: \w+`).ReplaceAllString(text, "${1}for: 0s")
			text = strings.NewReplacer("_total[1h]", "_total[20s]", "26 * 7 * 86400", "20").Replace(text)
		}
		if name == "dashboard.html" {
			name = "consoles/" + name
		}
		put(name, text)
	}
	put("left.yml", targets)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	_ = l.Close()
	p := &prometheus{t: t, url: "http://" + addr, patience: time.Minute}
	p.cmd = exec.Command(program, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+addr, "--web.console.templates="+filepath.Join(dir, "consoles"), "--web.console.libraries="+dir, "--log.level=warn")
	var said bytes.Buffer
	p.cmd.Stdout, p.cmd.Stderr = &said, &said
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = p.cmd.Process.Signal(syscall.SIGTERM)
		_ = p.cmd.Wait()
		if t.Failed() {
			t.Logf("prometheus said:\n%s", said.Bytes())
		}
	})
	p.until("is ready", func() bool { _, status := p.get("/-/ready"); return status == 200 })
	return p
}

func (p *prometheus) get(path string) (string, int) {
	r, err := http.Get(p.url + path)
	if err != nil {
		return err.Error(), 0
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return string(b), r.StatusCode
}

// until asks again and again, as long as there is patience: another program's pace
// cannot be put into a bubble.
func (p *prometheus) until(what string, ok func() bool) {
	p.t.Helper()
	late := time.After(p.patience)
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for !ok() {
		select {
		case <-tick.C:
		case <-late:
			alerts, _ := p.get("/api/v1/alerts")
			p.t.Fatalf("within %v it did not come that prometheus %s; alerts: %s", p.patience, what, alerts)
		}
	}
}

// query asks for an instant; the answer's values by their labels.
func (p *prometheus) query(q string) map[string]string {
	p.t.Helper()
	text, status := p.get("/api/v1/query?query=" + url.QueryEscape(q))
	var a struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	if err := json.Unmarshal([]byte(text), &a); err != nil || status != 200 {
		p.t.Fatalf("%s: %d %s", q, status, text)
	}
	out := map[string]string{}
	for _, r := range a.Data.Result {
		out[fmt.Sprint(r.Metric)] = fmt.Sprint(r.Value[1])
	}
	return out
}

func (p *prometheus) is(q, value string) func() bool {
	return func() bool {
		for _, v := range p.query(q) {
			return v == value
		}
		return value == ""
	}
}

func (p *prometheus) fires(alert string) func() bool {
	return p.is(`ALERTS{alertstate="firing",alertname="`+alert+`"}`, "1")
}

func (p *prometheus) rests(alert string) func() bool {
	return p.is(`ALERTS{alertstate="firing",alertname="`+alert+`"}`, "")
}

// TestPrometheus: Debian's Prometheus scrapes a running demo with our own
// example; alerts fire when there is something to do and clear when it is done;
// its own page and every panel of the dashboard are answered.
func TestPrometheus(t *testing.T) {
	if testing.Short() {
		t.Skip("a real Prometheus takes its time")
	}
	const speed = 300
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	printer := bench.New(sc, bench.Options{Seed: 3, Speed: speed})
	wire := &cable{printer: printer}
	h, err := house.Build(t.Context(), house.Plan{Settings: demo.DemoSettings(sc, "bench", "127.0.0.1:0", memoryDir(t)), Clock: clock.Fast(speed), Open: wire.open, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var running sync.WaitGroup
	running.Go(func() { _ = h.Run(ctx) })
	defer running.Wait()
	defer end()
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	prom := startPrometheus(t, fmt.Sprintf("- targets: [%s]\n  labels: {printer: left}\n", h.Listen.Addr()), "1s", true)
	prom.until("scrapes the printer", prom.is(`abbed_up{printer="left"}`, "1"))
	prom.until("misses a check", prom.fires("AbbedCheckOverdue"))
	if !prom.rests("AbbedLinkLost")() || !prom.rests("AbbedGone")() {
		t.Error("alarm without cause")
	}

	wire.pull(true)
	prom.until("sees the link lost", prom.fires("AbbedLinkLost"))
	wire.pull(false)
	prom.until("sees it made again", prom.rests("AbbedLinkLost"))

	p := &demo.Person{API: client.New(h.URL(), strings.TrimSpace(string(token))), Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
	if run, err := p.Measure(t.Context(), "repeat"); err != nil || run.State != api.Done {
		t.Fatalf("%s, %v", run.State, err)
	}
	prom.until("sees the check", prom.rests("AbbedCheckOverdue"))
	if _, err := p.API.StartRun(t.Context(), "repeat"); err != nil {
		t.Fatal(err)
	}
	prom.until("sees a run that waits", prom.fires("AbbedRunWaits"))
	prom.pages(t)
	if _, err := p.API.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	prom.until("sees that it waits no more", prom.rests("AbbedRunWaits"))

	end()
	running.Wait()
	prom.until("sees that the program has ended", prom.fires("AbbedGone"))
}

// pages looks at what Prometheus shows itself, and asks whatever the dashboard
// asks.
func (p *prometheus) pages(t *testing.T) {
	t.Helper()
	instance := ""
	for labels := range p.query(`up{job="abbed"}`) {
		instance = regexp.MustCompile(`instance:(\S+) `).FindStringSubmatch(labels)[1]
	}
	for path, want := range map[string][]string{
		"/consoles/abbed.html": {"The printers", ">left<", "ready", "AbbedRunWaits", "ago"},
		"/consoles/abbed.html?instance=" + url.QueryEscape(instance):      {"<h1>left</h1>", "awaiting-confirmation", "AbbedRunWaits", "Scatter of the probe", "came to its end"},
		"/consoles/abbed.html?instance=" + url.QueryEscape(`x"} or up{"`): {"Nothing: no alert fires"},
		"/consoles/dashboard.html":                                        {"abbed: over time", "query_range"},
	} {
		text, status := p.get(path)
		if status != 200 {
			t.Errorf("%s: %d\n%s", path, status, text)
		}
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s does not show %q:\n%s", path, w, text)
			}
		}
	}
	text, _ := p.get("/api/v1/rules")
	if strings.Contains(text, `"health":"err"`) {
		t.Errorf("a rule fails: %s", text)
	}
	b, err := os.ReadFile(filepath.Join(stack, "dashboard.html"))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(b), `id="dashboard">`)
	list, _, _ := strings.Cut(rest, "</script>")
	var d struct {
		Panels []struct{ Title, Query, Limit string }
	}
	if err := json.Unmarshal([]byte(list), &d); err != nil {
		t.Fatal(err)
	}
	answered := 0
	for _, panel := range d.Panels {
		if len(p.query(strings.ReplaceAll(panel.Query, "INSTANCE", ".+"))) > 0 {
			answered++
		}
		if panel.Limit != "" && len(p.query(strings.ReplaceAll(panel.Limit, "INSTANCE", ".+"))) == 0 {
			t.Errorf("the panel %q has no limit", panel.Title)
		}
	}
	if answered < 8 {
		t.Errorf("only %d of %d panels show something", answered, len(d.Panels))
	}
}
