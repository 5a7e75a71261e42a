package printfile_test

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"abbed/gcode/printfile"
)

var race = flag.Int("printfile.mb", 0, "size of the file with which the rewrite runs against cat and a loop in Python, MB; 0: not")

// sliced writes a file as slicers write them: rings and hatch lines, layer by layer,
// until size is reached. Two fifths of its layers lie below where the correction ends.
func sliced(path string, size int64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	n, _ := fmt.Fprintf(w, "; a part\nG21\nG90\nM83\nG28\nG1 Z5 F1200\nG1 X20 Y20 F6000\n")
	total := int64(n)
	add := func(format string, a ...any) {
		n, _ := fmt.Fprintf(w, format, a...)
		total += int64(n)
	}
	for layer := 0; total < size; layer++ {
		add(";LAYER %d\nG1 Z%.3f F1200\n", layer, 0.2+0.2*float64(layer%200))
		for ring := range 8 {
			r := 20 + 9*float64(ring)
			for a := range 180 {
				s, c := math.Sincos(float64(a) * math.Pi / 90)
				add("G1 X%.3f Y%.3f E%.5f\n", 110+r*c, 110+r*s, r*math.Pi/90*0.0335)
			}
		}
		for line := range 200 {
			x := 15 + float64(line)*0.95
			add("G1 X%.3f Y%.3f F6000\nG1 X%.3f Y%.3f E%.5f F3000\n", x, 15.0, x, 205.0, 190*0.0335)
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}

// loop is the straightforward way in Python: split, look up, write.
const loop = `
import sys
nodes = [[-0.2, 0.0, 0.3], [-0.1, 0.0, 0.15], [0.0, 0.0, -0.1]]
def add(x, y):
    u = min(max(x / 100.0, 0.0), 2.0); v = min(max(y / 100.0, 0.0), 2.0)
    i = min(int(u), 1); j = min(int(v), 1); u -= i; v -= j
    a = nodes[j][i] + u * (nodes[j][i+1] - nodes[j][i])
    b = nodes[j+1][i] + u * (nodes[j+1][i+1] - nodes[j+1][i])
    return a + v * (b - a)
x = y = z = 0.0
with open(sys.argv[1]) as f, open(sys.argv[2], 'w') as out:
    for line in f:
        if line[:3] in ('G1 ', 'G0 '):
            words = line.split(';')[0].split()
            kept = []
            x1, y1, z1, e = x, y, z, None
            for w in words[1:]:
                if w[0] == 'X': x1 = float(w[1:])
                elif w[0] == 'Y': y1 = float(w[1:])
                elif w[0] == 'Z': z1 = float(w[1:])
                elif w[0] == 'E': e = float(w[1:])
                else: kept.append(w)
            length = ((x1 - x) ** 2 + (y1 - y) ** 2) ** 0.5
            n = max(1, int(length / 10.0)) if z1 < 15.4 else 1
            for k in range(1, n + 1):
                t = k / n
                px, py, pz = x + t * (x1 - x), y + t * (y1 - y), z + t * (z1 - z)
                w = min(max((15.4 - pz) / 15, 0.0), 1.0)
                s = '%s X%.3f Y%.3f Z%.4f' % (words[0], px, py, pz + w * add(px, py))
                if e is not None: s += ' E%.6f' % (e / n)
                if k == 1 and kept: s += ' ' + ' '.join(kept)
                out.write(s + '\n')
            x, y, z = x1, y1, z1
        else:
            out.write(line)
`

// TestAgainstCatAndPython runs the rewrite, cat and the loop on one file, one
// after the other, three times each, and compares the best.
//
//	go test ./gcode/printfile -run Against -printfile.mb 100 -v
func TestAgainstCatAndPython(t *testing.T) {
	if *race == 0 {
		t.Skip("ask for it with -printfile.mb 100")
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("there is no Python here")
	}
	dir := t.TempDir()
	in, script := filepath.Join(dir, "in.gcode"), filepath.Join(dir, "loop.py")
	if err := sliced(in, int64(*race)<<20); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(script, []byte(loop), 0o600); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(in)
	if err != nil {
		t.Fatal(err)
	}
	g := bent(t)
	var sum printfile.Summary
	ours := func() error {
		f, err := os.Open(in)
		if err != nil {
			return err
		}
		defer f.Close()
		out, err := os.Create(filepath.Join(dir, "ours.gcode"))
		if err != nil {
			return err
		}
		defer out.Close()
		sum, err = printfile.Rewrite(out, f, g, printfile.Defaults())
		return err
	}
	child := func(name string, args ...string) func() (time.Duration, error) {
		return func() (time.Duration, error) {
			c := exec.Command(name, args...)
			err := c.Run()
			return c.ProcessState.UserTime() + c.ProcessState.SystemTime(), err
		}
	}
	own := func() (time.Duration, error) {
		began := spent(t)
		err := ours()
		return spent(t) - began, err
	}
	// The rates are by processor time, the clock's beside it: on a machine that is
	// shared the clock measures the neighbours.
	best := func(do func() (time.Duration, error), times int) (cpu, clock float64) {
		for range times {
			began := time.Now()
			d, err := do()
			if err != nil {
				t.Fatal(err)
			}
			cpu = math.Max(cpu, float64(info.Size())/1e6/d.Seconds())
			clock = math.Max(clock, float64(info.Size())/1e6/time.Since(began).Seconds())
		}
		return cpu, clock
	}
	a, aw := best(own, 3)
	c, cw := best(child("sh", "-c", `cat "$0" > "$1"`, in, filepath.Join(dir, "cat.gcode")), 3)
	p, pw := best(child(python, script, in, filepath.Join(dir, "loop.gcode")), 1)
	t.Logf("%d MB, %d moves of which %d were cut into %d pieces", info.Size()/1e6, sum.Moves, sum.Cut, sum.Pieces)
	t.Logf("by processor time: rewrite %.0f MB/s, cat %.0f MB/s (%.1f %% of it), Python %.1f MB/s (%.0f x)", a, c, 100*a/c, p, a/p)
	t.Logf("by the clock: rewrite %.0f MB/s, cat %.0f MB/s, Python %.1f MB/s (%.0f x)", aw, cw, pw, aw/pw)
	if a < 100 || a < 20*p {
		t.Errorf("slower than 100 MB/s, or than 20 x the loop")
	}
}

// spent is this process's processor time.
func spent(t *testing.T) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func BenchmarkRewrite(b *testing.B) {
	in := filepath.Join(b.TempDir(), "in.gcode")
	if err := sliced(in, 8<<20); err != nil {
		b.Fatal(err)
	}
	text, err := os.ReadFile(in)
	if err != nil {
		b.Fatal(err)
	}
	g := bent(b)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := printfile.Rewrite(io.Discard, bytes.NewReader(text), g, printfile.Defaults()); err != nil {
			b.Fatal(err)
		}
	}
}
