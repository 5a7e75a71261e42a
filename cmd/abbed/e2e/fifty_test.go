package e2e_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/room"
	"abbed/gcode/bench"
)

var (
	fiftyCount   = flag.Int("fifty", 0, "so many instances of serve, each a process of its own, scraped by a real Prometheus; 0: not at all")
	fiftyMinutes = flag.Float64("fifty.minutes", 10, "how long they are scraped")
	fiftyEvery   = flag.String("fifty.every", "15s", "how often")
)

// serving is one daemon as a process of its own, with its printer.
type serving struct {
	cmd    *exec.Cmd
	addr   string
	unplug func() error
	up     time.Duration // from its start to its first answer
}

// usage of a process, from /proc (proc(5)).
type used struct {
	cpu         time.Duration
	rss, most   int64 // bytes
	descriptors int
}

func usedBy(t *testing.T, pid int) used {
	t.Helper()
	dir := fmt.Sprintf("/proc/%d/", pid)
	b, err := os.ReadFile(dir + "stat")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(b), ") ") // the name may hold anything
	f := strings.Fields(rest)
	ticks := func(i int) time.Duration { // in hundredths of a second
		n, _ := strconv.ParseInt(f[i], 10, 64)
		return time.Duration(n) * 10 * time.Millisecond
	}
	u := used{cpu: ticks(11) + ticks(12)}
	status, _ := os.ReadFile(dir + "status")
	for line := range strings.Lines(string(status)) {
		name, value, _ := strings.Cut(line, ":")
		kb, _ := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(value), " kB"), 10, 64)
		switch name {
		case "VmRSS":
			u.rss = kb << 10
		case "VmHWM":
			u.most = kb << 10
		}
	}
	fds, _ := os.ReadDir(dir + "fd")
	u.descriptors = len(fds)
	return u
}

// TestFifty runs a room of printers on this machine: each daemon a process with
// a printer at its own pseudo-terminal, all scraped by Debian's Prometheus with
// our example. It tells CPU and memory of each, and how long a scrape takes. The
// virtual printers run in the test's own process, which is not counted.
func TestFifty(t *testing.T) {
	if *fiftyCount <= 0 {
		t.Skip("go test ./cmd/abbed/e2e -run TestFifty -fifty 50 -v -timeout 30m")
	}
	dir := t.TempDir()
	program := filepath.Join(dir, "abbed")
	if said, err := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", program, "abbed/cmd/abbed").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	info, err := os.Stat(program)
	if err != nil {
		t.Fatal(err)
	}
	names := bench.Scenarios()
	var all []serving
	var targets strings.Builder
	for i := range *fiftyCount {
		s := start(t, program, dir, i, names[i%len(names)])
		all = append(all, s)
		fmt.Fprintf(&targets, "- targets: [%s]\n  labels: {printer: p%02d}\n", s.addr, i+1)
	}
	prom := startPrometheus(t, targets.String(), *fiftyEvery, false)
	prom.patience = 5 * time.Minute
	prom.until("scrapes all of them", prom.is(`sum(abbed_up)`, strconv.Itoa(len(all))))
	before, began := measure50(t, all), time.Now()
	promBefore := usedBy(t, prom.cmd.Process.Pid)
	t.Logf("%d instances, %d cores, binary %.1f MB; scraped every %s for %.1f minutes", len(all), runtime.NumCPU(), float64(info.Size())/1e6, *fiftyEvery, *fiftyMinutes)

	time.Sleep(time.Duration(*fiftyMinutes * float64(time.Minute))) // the room is left to itself: that is what is measured

	took, after := time.Since(began), measure50(t, all)
	var cpu, rss, most, up []float64
	fds := 0
	for i, u := range after {
		cpu = append(cpu, 100*(u.cpu-before[i].cpu).Seconds()/took.Seconds())
		rss, most, up = append(rss, float64(u.rss)/1e6), append(most, float64(u.most)/1e6), append(up, 1e3*all[i].up.Seconds())
		fds = max(fds, u.descriptors)
	}
	tell := func(what, unit string, v []float64) {
		v = slices.Sorted(slices.Values(v))
		t.Logf("%-28s median %.3g, largest %.3g %s", what, v[len(v)/2], v[len(v)-1], unit)
	}
	tell("CPU of an instance", "% of a core", cpu)
	tell("RSS of an instance", "MB", rss)
	tell("its largest ever", "MB", most)
	tell("start to first answer", "ms (printers and others running)", up)
	t.Logf("descriptors of an instance   largest %d", fds)
	p := usedBy(t, prom.cmd.Process.Pid)
	t.Logf("prometheus                   CPU %.3g %% of a core, RSS %.0f MB", 100*(p.cpu-promBefore.cpu).Seconds()/took.Seconds(), float64(p.rss)/1e6)
	window := fmt.Sprintf("[%ds]", int(took.Seconds()))
	pooled := prom.samples(`scrape_duration_seconds{job="abbed"}` + window)
	if len(pooled) == 0 {
		t.Fatal("nothing was scraped")
	}
	t.Logf("scrape time                  median %.4f, p99 %.4f, longest %.4f s, over %d scrapes", pooled[len(pooled)/2], pooled[min(len(pooled)-1, len(pooled)*99/100)], pooled[len(pooled)-1], len(pooled))
	for _, q := range []struct{ name, query string }{
		{"scrapes", `sum(count_over_time(scrape_duration_seconds{job="abbed"}` + window + `))`},
		{"scrapes that failed", `sum(count_over_time(up{job="abbed"}` + window + `) - sum_over_time(up{job="abbed"}` + window + `))`},
		{"samples of one scrape", `max(scrape_samples_scraped{job="abbed"})`},
		{"series of one printer", `max(scrape_samples_post_metric_relabeling{job="abbed"})`},
	} {
		for _, v := range prom.query(q.query) {
			t.Logf("%-28s %s", q.name, v)
		}
	}
	if failed := prom.query(`sum(up{job="abbed"} == 0)`); len(failed) > 0 {
		t.Errorf("some do not answer: %v", failed)
	}
	if known, err := room.List(filepath.Join(dir, "room"), time.Now()); err != nil || len(known) != len(all) {
		t.Errorf("the room knows %d printers, %v", len(known), err)
	}
	asked := time.Now()
	if text, status := prom.get("/consoles/abbed.html"); status != 200 || strings.Count(text, "?instance=") != len(all) {
		t.Errorf("the page of prometheus: %d", status)
	}
	t.Logf("page of all printers         %.2f s", time.Since(asked).Seconds())
}

// samples returns all values of a range, of all series, sorted.
func (p *prometheus) samples(q string) []float64 {
	p.t.Helper()
	text, status := p.get("/api/v1/query?query=" + url.QueryEscape(q))
	var a struct {
		Data struct{ Result []struct{ Values [][2]any } }
	}
	if err := json.Unmarshal([]byte(text), &a); err != nil || status != 200 {
		p.t.Fatalf("%s: %d %s", q, status, text)
	}
	var out []float64
	for _, r := range a.Data.Result {
		for _, v := range r.Values {
			if x, err := strconv.ParseFloat(fmt.Sprint(v[1]), 64); err == nil {
				out = append(out, x)
			}
		}
	}
	slices.Sort(out)
	return out
}

func measure50(t *testing.T, all []serving) []used {
	t.Helper()
	out := make([]used, len(all))
	for i, s := range all {
		out[i] = usedBy(t, s.cmd.Process.Pid)
	}
	return out
}

// start starts one daemon with a printer of its own, and waits for its first
// answer.
func start(t *testing.T, program, dir string, i int, sc bench.Scenario) serving {
	t.Helper()
	path, unplug, err := bench.Pty(bench.New(sc, bench.Options{Seed: uint64(i), Speed: 1}))
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := serving{addr: l.Addr().String(), unplug: unplug}
	_ = l.Close()
	own := demo.DemoSettings(sc, path, s.addr, "")
	s.cmd = exec.Command(program, "serve", "--port", path, "--listen", s.addr, "--state", filepath.Join(dir, fmt.Sprintf("p%02d", i+1)),
		"--bed", own.Bed.String(), "--map-area", own.MapArea.String(), "--zero-at", own.ZeroAt.String(), "--layout", own.Layout)
	s.cmd.Env = append(os.Environ(), "ABBED_ROOM="+filepath.Join(dir, "room"), fmt.Sprintf("ABBED_NAME=p%02d", i+1), "ABBED_PROBE_STYLE="+own.Probe.Style)
	began := time.Now()
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = s.cmd.Process.Signal(syscall.SIGTERM)
		_ = s.cmd.Wait()
		_ = s.unplug()
	})
	for {
		r, err := http.Get("http://" + s.addr + "/healthz")
		if err == nil {
			_ = r.Body.Close()
			break
		}
		if time.Since(began) > 30*time.Second {
			t.Fatalf("p%02d does not answer: %v", i+1, err)
		}
		time.Sleep(2 * time.Millisecond)
	}
	s.up = time.Since(began)
	return s
}
