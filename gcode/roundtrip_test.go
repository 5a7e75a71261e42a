package gcode_test

import (
	"bufio"
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"

	"abbed/gcode"
	"abbed/gcode/port"

	"github.com/creack/pty"
)

// The figures of the design: median and 99th percentile of a round trip against
// those of the minimal loop in C, and allocations a line.
const (
	mostMedian = 2
	mostP99    = 4
	mostAllocs = 1.01 // one, and what else the program does meanwhile
)

// rounds are how often each way has its turn, trips how many round trips it then
// makes: all ways meet the same moods of the machine.
const (
	rounds = 9
	trips  = 3000
)

// BenchmarkRoundTrip asks over a pseudo-terminal whose far end says ok to each
// line, with a Session, with a minimal loop in C and with Python's serial
// library, in turn. Each figure is the median of the rounds, each limit holds
// for the median of the rounds' ratios.
func BenchmarkRoundTrip(b *testing.B) {
	cc, python := needed(b, "cc", "gcc"), pythonSerial(b)
	program := filepath.Join(b.TempDir(), "roundtrip")
	if out, err := exec.Command(cc, "-O2", "-o", program, "testdata/roundtrip.c").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	path := farInC(b, program)
	var ours, inC, inPython measured
	for range rounds {
		inC.take(loopOf(b, program, "near", path, strconv.Itoa(trips)))
		ours.take(askedBySession(b, path))
		inPython.take(loopOf(b, python, "testdata/roundtrip.py", path, strconv.Itoa(trips)))
	}
	median, p99 := ratio(ours.median, inC.median), ratio(ours.p99, inC.p99)
	allocs := allocsALine(b, path)
	for b.Loop() { // the figures are those of the rounds
	}
	b.ReportMetric(0, "ns/op")
	for _, m := range []struct {
		name string
		measured
	}{{"abbed", ours}, {"C", inC}, {"Python", inPython}} {
		b.ReportMetric(middle(m.median), m.name+"-median-us")
		b.ReportMetric(middle(m.p99), m.name+"-p99-us")
	}
	b.ReportMetric(median, "median/C")
	b.ReportMetric(p99, "p99/C")
	b.ReportMetric(allocs, "allocs/line")
	b.Logf("median us: abbed %.1f, C %.1f, Python %.1f; p99 us: %.1f, %.1f, %.1f; %.2f allocations a line",
		middle(ours.median), middle(inC.median), middle(inPython.median), middle(ours.p99), middle(inC.p99), middle(inPython.p99), allocs)
	if median > mostMedian || p99 > mostP99 || allocs > mostAllocs {
		b.Errorf("against the loop in C: median %.2f times (at most %d), p99 %.2f times (at most %d); %.2f allocations a line (at most %.2f)",
			median, mostMedian, p99, mostP99, allocs, mostAllocs)
	}
}

// measured are medians and 99th percentiles of rounds, us.
type measured struct{ median, p99 []float64 }

func (m *measured) take(ns []float64) {
	slices.Sort(ns)
	m.median = append(m.median, ns[len(ns)/2]/1e3)
	m.p99 = append(m.p99, ns[len(ns)*99/100]/1e3)
}

func middle(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// ratio is the median of the rounds' ratios.
func ratio(a, to []float64) float64 {
	r := make([]float64, len(a))
	for i := range a {
		r[i] = a[i] / to[i]
	}
	return middle(r)
}

// farInC is the near side of a pseudo-terminal whose far end a program in C
// serves.
func farInC(b *testing.B, program string) (path string) {
	b.Helper()
	far, near, err := pty.Open()
	if err != nil {
		b.Skipf("no pseudo-terminals here: %v", err)
	}
	first, err := port.Open(context.Background(), port.Spec{Name: near.Name()}) // makes it raw
	if err != nil {
		b.Fatal(err)
	}
	first.Close()
	c := exec.Command(program, "far")
	c.ExtraFiles = []*os.File{far}
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	far.Close()
	b.Cleanup(func() { near.Close(); _ = c.Process.Kill(); _ = c.Wait() })
	return near.Name()
}

// loopOf runs a program that prints the ns of its round trips.
func loopOf(b *testing.B, name string, args ...string) (ns []float64) {
	b.Helper()
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		b.Fatalf("%s: %v", name, err)
	}
	in := bufio.NewScanner(bytes.NewReader(out))
	for in.Scan() {
		v, err := strconv.ParseFloat(in.Text(), 64)
		if err != nil {
			b.Fatal(err)
		}
		ns = append(ns, v)
	}
	if len(ns) != trips {
		b.Fatalf("%s made %d round trips", name, len(ns))
	}
	return ns
}

func session(b *testing.B, path string) *gcode.Session {
	b.Helper()
	conn, err := port.Open(context.Background(), port.Spec{Name: path})
	if err != nil {
		b.Fatal(err)
	}
	return gcode.NewSession(conn, gcode.Options{})
}

func askedBySession(b *testing.B, path string) []float64 {
	b.Helper()
	s := session(b, path)
	defer s.Close()
	q, ctx, ns := gcode.NewQuery("M105"), context.Background(), make([]float64, trips)
	for i := range ns {
		began := time.Now()
		if _, err := s.Ask(ctx, q); err != nil {
			b.Fatal(err)
		}
		ns[i] = float64(time.Since(began))
	}
	return ns
}

// allocsALine counts what the whole program allocates for each line that is
// asked and answered.
func allocsALine(b *testing.B, path string) float64 {
	b.Helper()
	s := session(b, path)
	defer s.Close()
	q, ctx := gcode.NewQuery("M105"), context.Background()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for range trips {
		if _, err := s.Ask(ctx, q); err != nil {
			b.Fatal(err)
		}
	}
	runtime.ReadMemStats(&after)
	return float64(after.Mallocs-before.Mallocs) / trips
}

// pythonSerial returns a Python that has the serial library.
func pythonSerial(b *testing.B) string {
	b.Helper()
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import serial").Run() == nil {
			return p
		}
	}
	absent(b, "Python's serial library", "python3-serial")
	return ""
}
