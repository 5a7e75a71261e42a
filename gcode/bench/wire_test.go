package bench_test

import (
	"fmt"
	"io"
	"math"
	"net"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode/bench"
	"abbed/gcode/bench/wire"
)

// framed puts a line number and the xor of all bytes before the star round a
// command (design/3).
func framed(n int, command string) string {
	s := fmt.Sprintf("N%d %s", n, command)
	var x byte
	for i := range len(s) {
		x ^= s[i]
	}
	return fmt.Sprintf("%s*%d", s, x)
}

func TestResend(t *testing.T) {
	again := regexp.MustCompile(`(?m)^(Resend: ?|rs )(\d+)$`)
	for wording := 1; wording <= 6; wording++ {
		onWire(t, scenario(t, "beam-twist"), bench.Options{Wording: wording}, func(r *rig) {
			resend := func(lines []string) string {
				if m := again.FindStringSubmatch(strings.Join(lines, "\n")); m != nil {
					return m[2]
				}
				return ""
			}
			r.ask("M110 N0")
			for _, c := range []struct{ name, line, want string }{
				{"first", framed(1, "M114"), ""},
				{"second", framed(2, "M114"), ""},
				{"wrong check", "N3 M114*1", "3"},
				{"no check", "N3 M114", "3"},
				{"ahead", framed(5, "M114"), "3"},
				{"twice", framed(2, "M114"), "3"},
				{"damaged byte", strings.Replace(framed(3, "M114"), "M114", "M104", 1), "3"},
				{"check without number", "M114*35", "3"},
				{"good again", framed(3, "M114"), ""},
				{"plain between", "M114", ""},
				{"counter set by its own line", framed(70, "M110"), ""},
				{"next", framed(71, "M114"), ""},
				{"counter set by parameter", framed(72, "M110 N9"), ""},
				{"next after", framed(10, "M114"), ""},
			} {
				lines := r.ask(c.line)
				if got := resend(lines); got != c.want {
					t.Errorf("%s: resend %q, want %q; %q", c.name, got, c.want, lines)
				}
				if c.want != "" && !strings.HasPrefix(lines[0], "Error:") {
					t.Errorf("%s: no Error line: %q", c.name, lines)
				}
				if _, place := numbers(lines); strings.Contains(c.line, "M114") && place != (c.want == "") {
					t.Errorf("%s: done %v", c.name, place)
				}
			}
		})
	}
}

func TestPrinterWithoutFraming(t *testing.T) {
	onWire(t, scenario(t, "plain-line"), bench.Options{Wording: 1}, func(r *rig) {
		lines := r.ask(framed(1, "M114"))
		if _, ok := numbers(lines); ok || with(lines, "Resend") || with(lines, "rs ") {
			t.Errorf("took a frame: %q", lines)
		}
	})
}

// Every wording gives the numbers in the shapes of design/3 and no two of the
// first say a touch alike.
func TestWordings(t *testing.T) {
	strip := regexp.MustCompile(`[\d.+-]+`)
	touches, oks, maps := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for n := 1; n <= wire.Wordings; n++ {
		onWire(t, scenario(t, "healthy"), bench.Options{Wording: n}, func(r *rig) {
			r.ask("G28")
			r.ask("M420 S0")
			r.ask("G1 Z5")
			lines := r.ask("G30 X40 Y60.5")
			v, ok := numbers(lines)
			if !ok || v[0] != 40 || v[1] != 60.5 || math.Abs(v[2]) > 0.1 {
				t.Errorf("wording %d: touch %q gives %v", n, lines, v)
			}
			touches[strip.ReplaceAllString(lines[0], "#")] = true
			oks[strip.ReplaceAllString(lines[len(lines)-1], "#")] = true
			if v, ok := numbers(r.ask("M851")); !ok || v != [3]float64{-44, -12, -2.2} {
				t.Errorf("wording %d: lever %v", n, v)
			}
			all := strings.Join(r.ask("M211"), " ")
			if got := len(xyz.FindAllString(all, -1)); got != 2 || !strings.Contains(strings.ToLower(all), "on") {
				t.Errorf("wording %d: limits %q", n, all)
			}
			printed := r.ask("M420 V")
			maps[strip.ReplaceAllString(strings.Join(printed[:3], "|"), "#")] = true
			checkMap(t, n, printed, r.p.Nodes())
			if !with(r.ask("M503"), "M851 X-44.00 Y-12.00 Z-2.20") {
				t.Errorf("wording %d: settings without lever", n)
			}
		})
	}
	if len(touches) < 20 || len(oks) < 3 || len(maps) < 8 {
		t.Errorf("%d touch lines, %d oks, %d maps", len(touches), len(oks), len(maps))
	}
}

// checkMap finds each row, `j  z z z`, in what was printed.
func checkMap(t *testing.T, wording int, printed []string, nodes [][]float64) {
	t.Helper()
	number := regexp.MustCompile(`[-+]?\d+(?:\.\d+)?`)
	for j, row := range nodes {
		found := false
		for _, line := range printed {
			f := number.FindAllString(line, -1)
			if len(f) != len(row)+1 || f[0] != fmt.Sprint(j) {
				continue
			}
			found = true
			for i, z := range row {
				found = found && strings.TrimPrefix(f[i+1], "+") == strings.TrimPrefix(fmt.Sprintf("%.3f", z), "+")
			}
			if found {
				break
			}
		}
		if !found {
			t.Errorf("wording %d: row %d is not in %q", wording, j, printed)
		}
	}
}

func TestWordingBySeed(t *testing.T) {
	say := func(seed uint64) (s string) {
		onWire(t, scenario(t, "healthy"), bench.Options{Seed: seed}, func(r *rig) { s = strings.Join(append(r.ask("M851"), r.ask("M420 V")...), "|") })
		return s
	}
	if a, b := say(5), say(5); a != b {
		t.Error("the same seed speaks differently")
	}
	if say(5) == say(6) {
		t.Error("two seeds speak alike")
	}
}

func TestStraightProbe(t *testing.T) {
	bracket := regexp.MustCompile(`^\[\w+:([-\d.]+),([-\d.]+),([-\d.]+):([01])\]$`)
	onWire(t, scenario(t, "straight-probe"), bench.Options{Wording: 1}, func(r *rig) {
		if _, ok := numbers(r.ask("G30 X100 Y100")); ok {
			t.Error("answers G30")
		}
		for _, s := range []string{"G28", "M420 S0", "G1 X100 Y60 Z5 F6000", "M400"} {
			r.ask(s)
		}
		m := bracket.FindStringSubmatch(r.ask("G38.2 Z-2 F200")[0])
		if m == nil || m[4] != "1" || m[1] != "100.000" {
			t.Fatalf("answer %q", m)
		}
		var z float64
		fmt.Sscan(m[3], &z)
		truth := r.p.Truth()
		if d := z - truth.Trigger - truth.Map(100, 105); math.Abs(d) > 0.03 {
			t.Errorf("trigger at %g, truth %g", z, truth.Trigger+truth.Map(100, 105))
		}
		if place, _ := numbers(r.ask("M114")); math.Abs(place[2]-z) > 1e-3 {
			t.Errorf("the head stands at %g", place[2])
		}
		if m := bracket.FindStringSubmatch(r.ask("G38.2 Z4 F200")[0]); m != nil && m[4] == "1" {
			t.Errorf("a triggered probe made contact: %q", m)
		}
		r.ask("G1 Z6")
		if m := bracket.FindStringSubmatch(r.ask("G38.2 Z4 F200")[0]); m == nil || m[4] != "0" {
			t.Errorf("contact above the bed: %q", m)
		}
	})
	onWire(t, scenario(t, "straight-probe-silent"), bench.Options{Wording: 1}, func(r *rig) {
		for _, s := range []string{"G28", "M420 S0", "G1 X100 Y60 Z5 F6000"} {
			r.ask(s)
		}
		if lines := r.ask("G38.2 Z-2 F200"); len(lines) != 1 {
			t.Errorf("answer %q", lines)
		}
		if place, _ := numbers(r.ask("M114")); place[2] < 1.5 || place[2] > 3 {
			t.Errorf("the head stands at %g", place[2])
		}
	})
}

// A machine whose nozzle is the probe touches with it, without a sin.
func TestNozzleIsProbe(t *testing.T) {
	onWire(t, scenario(t, "no-lever"), bench.Options{Wording: 1}, func(r *rig) {
		r.ask("G28")
		r.ask("M420 S0")
		m := r.touch(50, 50)
		if d := m - r.p.Truth().Nozzle(50, 50); math.Abs(d) > 0.03 {
			t.Errorf("probe and nozzle differ by %g", d)
		}
		if s := r.p.Safety(); s.NozzleTouches(0.05) != 0 || s.LowTravel != 0 {
			t.Errorf("safety %+v", s)
		}
	})
}

func TestFaults(t *testing.T) {
	strike := func(name, when string) bench.Options {
		return bench.Options{Wording: 1, Faults: []bench.Fault{{Name: name, When: when}}}
	}
	sc := scenario(t, "plain-line")
	onWire(t, sc, strike("lost-ok", "M114"), func(r *rig) {
		r.ask("M115")
		r.send("M114")
		if v, ok := numbers([]string{<-r.lines}); !ok {
			t.Errorf("report %v", v)
		}
		r.silent(time.Minute)
		r.ask("M114")
	})
	onWire(t, sc, strike("late-ok", "M115"), func(r *rig) {
		began := time.Now()
		r.ask("M115")
		if took := time.Since(began); took < 44*time.Second || took > 46*time.Second {
			t.Errorf("the late ok came after %v", took)
		}
	})
	onWire(t, sc, strike("silence", "3"), func(r *rig) {
		r.ask("M115")
		r.ask("M115")
		r.send("M114")
		r.silent(time.Minute)
	})
	onWire(t, sc, strike("restart", "M114:2"), func(r *rig) {
		r.ask("M114")
		r.ask("G28")
		r.send("M114")
		if s := <-r.lines; s != "start" || r.p.Safety().Homed {
			t.Errorf("got %q", s)
		}
	})
	onWire(t, sc, strike("halt", "M114"), func(r *rig) {
		r.send("M114")
		time.Sleep(time.Second)
		for len(r.lines) > 0 {
			if s := <-r.lines; !strings.HasPrefix(s, "Error:") && !strings.HasPrefix(s, "!!") {
				t.Errorf("got %q", s)
			}
		}
		r.silent(time.Minute)
		if r.p.Safety().Halts != 1 {
			t.Error("not halted")
		}
	})
	onWire(t, sc, strike("unplug", "M114"), func(r *rig) {
		r.send("M114")
		if _, open := <-r.lines; open {
			t.Error("a line after the unplug")
		}
	})
	onWire(t, sc, strike("no-trigger", "G30:2"), func(r *rig) {
		r.ask("G28")
		r.touch(100, 100)
		r.ask("G0 Z5")
		r.send("G30 X80 Y80")
		time.Sleep(time.Minute)
		if s := r.p.Safety(); s.Halts != 1 || len(s.Contacts) != 1 || !s.Contacts[0].Touch || s.NozzleTouches(10) != 1 {
			t.Errorf("halts %d, contacts %+v", s.Halts, s.Contacts)
		}
	})
	onWire(t, sc, strike("refused", "G28"), func(r *rig) {
		r.ask("G28")
		if r.p.Safety().Homed {
			t.Error("homed all the same")
		}
	})
	onWire(t, sc, strike("wrong-echo", "M420:2"), func(r *rig) {
		first, second, third := r.ask("M420 V"), r.ask("M420 V"), r.ask("M420 V")
		if fmt.Sprint(first) == fmt.Sprint(second) || fmt.Sprint(first) != fmt.Sprint(third) {
			t.Error("the second print does not differ alone")
		}
	})
	for _, name := range []string{"bit-out", "byte-out"} {
		onWire(t, sc, strike(name, "M115:2"), func(r *rig) {
			if first, second := r.ask("M115"), r.ask("M115"); first[0] == second[0] || first[1] != second[1] {
				t.Errorf("%s: %q %q", name, first, second)
			}
		})
	}
	onWire(t, sc, strike("twice-out", "M115"), func(r *rig) {
		if lines := r.ask("M115"); lines[0] != lines[1] {
			t.Errorf("%q", lines)
		}
	})
	onWire(t, scenario(t, "beam-twist"), strike("bit-in", "M110"), func(r *rig) {
		r.ask("M110 N0")
		if lines := r.ask(framed(1, "M114")); !with(lines, "Error:") {
			t.Errorf("a damaged frame was taken: %q", lines)
		}
		if _, ok := numbers(r.ask(framed(1, "M114"))); !ok {
			t.Error("not taken when sent again")
		}
	})
}

// The machine outlives its connection.
func TestServedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := bench.New(scenario(t, "plain-line"), bench.Options{Wording: 1})
		for k := range 2 {
			r := connect(t, p)
			if k == 0 {
				r.ask("G28")
			} else if !p.Safety().Homed {
				t.Error("lost its homing with the line")
			}
			r.conn.Close()
			if err := <-r.done; err != nil {
				t.Errorf("Serve: %v", err)
			}
		}
	})
}

func TestChatterAndBanner(t *testing.T) {
	onWire(t, scenario(t, "restarts-on-open"), bench.Options{Wording: 1}, func(r *rig) {
		if s := <-r.lines; s != "start" {
			t.Errorf("first line %q", s)
		}
		time.Sleep(20 * time.Second)
		n := 0
		for len(r.lines) > 0 {
			if s := <-r.lines; strings.HasPrefix(s, " T:") {
				n++
			}
		}
		if n < 5 || n > 7 {
			t.Errorf("%d temperature lines in 20 s, wanted one every 3 s", n)
		}
	})
}

// stopOrDwell finds words after which nothing is to be answered soon.
var stopOrDwell = regexp.MustCompile(`(?i)m[^a-z]*1[^a-z]*1[^a-z]*2|g[^a-z]*4|\(`)

// FuzzLine sends any bytes; whatever they are, the printer answers the next
// good word, unless it was told to stop or halted by itself.
func FuzzLine(f *testing.F) {
	for _, s := range []string{"G1 X10", "N1 M114*3", "M110 N5", "(x", ";c", "G38.2 Z-1 F100", "M421 I1 J1 Z1e9", "g28", "M420V", "*", "N", "G2 X1 I1", "M84 S", "G1 X--1", "\x00\xff"} {
		f.Add(s)
	}
	sc, err := bench.Lookup("plain-line")
	if err != nil {
		f.Fatal(err)
	}
	framing, err := bench.Lookup("beam-twist")
	if err != nil {
		f.Fatal(err)
	}
	framing.Chatter = 0
	f.Fuzz(func(t *testing.T, s string) {
		if stopOrDwell.MatchString(s) {
			t.Skip()
		}
		for _, sc := range []bench.Scenario{sc, framing} {
			p := bench.New(sc, bench.Options{Wording: 1, Speed: 1e6})
			near, far := net.Pipe()
			done := make(chan error, 1)
			go func() { done <- p.Serve(t.Context(), far) }()
			go io.WriteString(near, s+"\nM115\n")
			began := time.Now()
			var got strings.Builder
			buf := make([]byte, 4096)
			for !strings.Contains(got.String(), "Cap:HEIGHT_MAP") {
				near.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
				n, err := near.Read(buf)
				got.Write(buf[:n])
				if err != nil && p.Safety().Halts > 0 {
					break // it ran into something
				}
				if err != nil && time.Since(began) > 8*time.Second {
					t.Fatalf("after %q: %v; %q", s, err, got.String())
				}
			}
			near.Close()
			<-done
		}
	})
}
