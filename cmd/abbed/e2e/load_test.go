package e2e_test

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

var (
	load        = flag.Bool("load", false, "a survey at real pacing with viewers, a scrape every second and slow clients (two minutes)")
	loadViewers = flag.Int("load.viewers", 200, "viewers of the page on event streams")
	loadSlow    = flag.Int("load.slow", 200, "clients that send their request byte by byte")
)

// mostMemory is the figure of the design, bytes.
const mostMemory = 64 << 20

// TestLoad runs abbed serve as a process of its own beside a virtual printer at
// real speed, and has it survey while viewers hold event streams and load the
// screen anew at each event as the page's script does, a scraper comes every
// second, and slow clients dribble. The printer's end of the wire tells how
// long it waited for its next line after each ok: that is the host's share of
// the run. Viewers share the processors with it, so the figures are the worst.
func TestLoad(t *testing.T) {
	if !*load {
		t.Skip("two minutes; run with -load")
	}
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	var far stopwatch
	printer := listenPrinter(t, bench.New(sc, bench.Options{Seed: 1, Speed: 1}), &far)
	d := serveProcess(t, sc, printer)
	var run api.Run
	err = client.Patiently(t.Context(), func() (err error) {
		run, err = d.api.Start(t.Context(), api.NewRun{Steps: []string{"survey"}, Quick: true})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	crowdCtx, disperse := context.WithCancel(t.Context())
	crowd := newCrowd(d.url, run.ID)
	crowd.gather(crowdCtx, *loadViewers, *loadSlow)
	how := api.Confirm{Person: "the load test"}
	for _, c := range run.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := d.api.Confirm(t.Context(), run.ID, how); err != nil {
		t.Fatal(err)
	}
	_, err = d.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.Step == "survey" && r.Touches > 0 })
	if err != nil {
		t.Fatal(err)
	}
	far.reset()
	began := time.Now()
	run, err = d.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.Step == "analysis" || r.State.Over() })
	if err != nil {
		t.Fatal(err)
	}
	wall, waited := time.Since(began), far.waited()
	if run, err = d.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() }); err != nil || run.State != api.Done {
		t.Errorf("the run is %s: %+v, %v", run.State, run.Error, err)
	}
	disperse()
	crowd.wait()
	peak := peakOf(t, d.cmd)
	share := waited.Seconds() / wall.Seconds()
	t.Logf("%d viewers (%d events, %d screens), %d slow clients (%d let go), %d scrapes (slowest %v), %d touches in %.1f s: host share %.2f %% (at most %.0f %%), peak memory %.1f MB (at most %d MB)",
		*loadViewers, crowd.events.Load(), crowd.screens.Load(), *loadSlow, crowd.slow.Load(), crowd.scrapes.Load(), time.Duration(crowd.slowest.Load()).Round(time.Millisecond),
		run.Touches, wall.Seconds(), 100*share, 100*mostShare, float64(peak)/(1<<20), mostMemory>>20)
	if crowd.failed.Load() > 0 {
		t.Errorf("%d requests failed, such as %v", crowd.failed.Load(), crowd.first)
	}
	if share > mostShare {
		t.Errorf("host share %.2f %%", 100*share)
	}
	if peak > mostMemory {
		t.Errorf("peak memory %.1f MB", float64(peak)/(1<<20))
	}
}

// stopwatch wraps the printer's end of the wire.
type stopwatch struct {
	mu   sync.Mutex
	ok   time.Time // when the last ok went out; zero: a line came since
	idle time.Duration
}

func (s *stopwatch) reset() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.idle, s.ok = 0, time.Time{}
}

func (s *stopwatch) waited() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.idle
}

func (s *stopwatch) came() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.ok.IsZero() {
		s.idle += time.Since(s.ok)
	}
	s.ok = time.Time{}
}

func (s *stopwatch) went(b []byte) {
	if strings.Contains("\n"+string(b), "\nok") {
		s.mu.Lock()
		s.ok = time.Now()
		s.mu.Unlock()
	}
}

// timed is a connection whose reads and writes the stopwatch sees.
type timed struct {
	net.Conn
	watch *stopwatch
}

func (c timed) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	c.watch.came()
	return n, err
}

func (c timed) Write(b []byte) (int, error) {
	c.watch.went(b)
	return c.Conn.Write(b)
}

// listenPrinter serves the printer on tcp and returns its port setting.
func listenPrinter(t *testing.T, p *bench.Printer, watch *stopwatch) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	var own sync.WaitGroup
	own.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			own.Go(func() { _ = p.Serve(ctx, timed{c, watch}); _ = c.Close() })
		}
	})
	t.Cleanup(func() { cancel(); _ = l.Close(); own.Wait() })
	return "tcp://" + l.Addr().String()
}

// child is abbed serve as a process of its own.
type child struct {
	cmd *exec.Cmd
	url string
	api *client.Client
}

// serveProcess builds and starts abbed serve, and waits until it listens.
func serveProcess(t *testing.T, sc bench.Scenario, port string) *child {
	t.Helper()
	bin, dir := program(t), t.TempDir()
	s := demo.DemoSettings(sc, port, "", dir)
	cmd := exec.Command(bin, "serve", "--port", port, "--listen", "127.0.0.1:0", "--state", dir,
		"--bed", s.Bed.String(), "--map-area", s.MapArea.String(), "--layout", s.Layout, "--zero-at", s.ZeroAt.String())
	said, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	d := &child{cmd: cmd}
	lines, heard := bufio.NewScanner(said), make(chan struct{})
	for lines.Scan() {
		if url, ok := strings.CutPrefix(lines.Text(), "abbed listens on "); ok {
			d.url = url
			break
		}
	}
	go func() {
		defer close(heard)
		for lines.Scan() {
			if strings.Contains(lines.Text(), "level=") {
				t.Log(lines.Text())
			}
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		<-heard
		_ = cmd.Wait()
	})
	token, err := os.ReadFile(filepath.Join(dir, "token"))
	if err != nil || d.url == "" {
		t.Fatalf("abbed serve does not listen: %v", err)
	}
	d.api = client.New(d.url, strings.TrimSpace(string(token)))
	return d
}

// peakOf is the largest resident memory of a process so far (proc(5), VmHWM), bytes.
func peakOf(t *testing.T, c *exec.Cmd) int {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", c.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		if f := strings.Fields(line); len(f) == 3 && f[0] == "VmHWM:" {
			kb, _ := strconv.Atoi(f[1])
			return kb << 10
		}
	}
	t.Fatal("no VmHWM")
	return 0
}

// crowd is everybody who wants something at once.
type crowd struct {
	url, run                               string
	http                                   *http.Client
	own                                    sync.WaitGroup
	events, screens, scrapes, slow, failed atomic.Int64
	slowest                                atomic.Int64
	once                                   sync.Once
	first                                  error
}

func newCrowd(url, run string) *crowd {
	return &crowd{url: url, run: run, http: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}}
}

func (c *crowd) gather(ctx context.Context, viewers, slow int) {
	for range viewers {
		c.own.Go(func() { c.fault(ctx, c.view(ctx)) })
	}
	for range slow {
		c.own.Go(func() { c.dribble(ctx) })
	}
	c.own.Go(func() { c.scrape(ctx) })
}

func (c *crowd) wait() { c.own.Wait(); c.http.CloseIdleConnections() }

func (c *crowd) fault(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil {
		c.failed.Add(1)
		c.once.Do(func() { c.first = err })
	}
}

// view follows the run, and loads the screen anew at each event, though not
// while it is loading it already: as the page's script does.
func (c *crowd) view(ctx context.Context) error {
	req, err := http.NewRequestWithContext(ctx, "GET", c.url+"/api/v1/runs/"+c.run+"/events", nil)
	if err != nil {
		return err
	}
	res, err := c.http.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return errors.New(res.Status)
	}
	var loading atomic.Bool
	var own sync.WaitGroup
	defer own.Wait()
	lines := bufio.NewScanner(res.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if !strings.HasPrefix(lines.Text(), "data:") {
			continue
		}
		c.events.Add(1)
		if loading.CompareAndSwap(false, true) {
			own.Go(func() {
				c.fault(ctx, c.get(ctx, "/run/"+c.run))
				c.screens.Add(1)
				loading.Store(false)
			})
		}
	}
	return lines.Err()
}

func (c *crowd) get(ctx context.Context, path string) error {
	req, err := http.NewRequestWithContext(ctx, "GET", c.url+path, nil)
	if err != nil {
		return err
	}
	res, err := c.http.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err = io.Copy(io.Discard, res.Body); err == nil && res.StatusCode != http.StatusOK {
		err = errors.New(res.Status)
	}
	return err
}

func (c *crowd) scrape(ctx context.Context) {
	each := time.NewTicker(time.Second)
	defer each.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-each.C:
		}
		began := time.Now()
		c.fault(ctx, c.get(ctx, "/metrics"))
		c.scrapes.Add(1)
		c.slowest.Store(max(c.slowest.Load(), int64(time.Since(began))))
	}
}

// dribble sends a request byte by byte and comes again when it is let go.
func (c *crowd) dribble(ctx context.Context) {
	each := time.NewTicker(500 * time.Millisecond)
	defer each.Stop()
	for ctx.Err() == nil {
		conn, err := net.Dial("tcp", strings.TrimPrefix(c.url, "http://"))
		if err != nil {
			c.fault(ctx, err)
			return
		}
		for i := 0; err == nil && ctx.Err() == nil; i++ {
			const text = "POST /api/v1/runs HTTP/1.1\r\nHost: x\r\nX-Slow: "
			_, err = conn.Write([]byte{text[min(i, len(text)-1)]})
			select {
			case <-ctx.Done():
			case <-each.C:
			}
		}
		_ = conn.Close()
		if ctx.Err() == nil {
			c.slow.Add(1)
		}
	}
}
