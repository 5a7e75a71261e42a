package dialect_test

import (
	"fmt"
	"strings"
	"testing"

	"abbed/gcode"
	"abbed/gcode/dialect"

	"pgregory.net/rapid"
)

func standard(t testing.TB) *dialect.Dialect {
	t.Helper()
	d, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// reply parses lines as a Session would hear them, the last as the ok.
func reply(lines ...string) gcode.Reply {
	var r gcode.Reply
	for _, t := range lines {
		l := gcode.ParseLine([]byte(t))
		switch l.Kind {
		case gcode.OK:
			r.OK = l
		case gcode.Empty, gcode.Busy, gcode.Wait:
		default:
			r.Lines = append(r.Lines, l)
		}
	}
	return r
}

// All wordings are made up here; all say x 104.5, y 88.25, z -0.137.
var touches = []string{
	"X:104.50 Y:88.25 Z:-0.137",
	"Surface met, X: 104.50 Y: 88.25 Z: -0.137",
	"X104.5 Y88.25 Z-.137",
	"X104.5Y88.25Z-0.137",
	"echo:contact x=104.500, y=88.250, z=-0.137",
	"// contact at X=104.50 Y=88.25 is Z=-0.137 mm",
	"x 104.50, y 88.25, z -0.137.",
	"Point 17 of 49: X:+104.50 Y:+88.25 Z:-0.137",
	"pin up (X 104.5mm, Y 88.25mm): Z -0.137mm",
	"touched 2 x 3 times at X:104.5 Y:88.25 Z:-0.137",
	"X position: 104.5, Y position: 88.25, Z height: -0.137",
	"height Z at X=104.5, Y=88.25 -> Z=-0.137",
	"XYZ: 104.5 88.25 -0.137",
	"(x, y, z) = (104.5, 88.25, -0.137)",
	"X/Y/Z: 104.5/88.25/-0.137",
	`{"x":104.5,"y":88.25,"z":-0.137}`,
	"bed_x=104.5 bed_y=88.25 bed_z=-0.137",
	"X:104.50\tY:88.25\tZ:-0.137\tn:3",
	"[hit:104.500,88.250,-0.137:1]",
	"[ hit: 104.5, 88.25, -0.137 : 1 ]",
	"[104.5,88.25,-0.137:1]",
	"T:21.0 then X:104.50 Y:88.25 F:300 Z:-0.137 (raw 1023)",
	"X:104.50 Y:88.25 Z:-0.137 E:0.00",
	"X is 104.50; Y is 88.25; Z is -0.137;",
	"plate: X 104.5 / Y 88.25 / Z -0.137 / 2 tries",
	"X:104.50 Y:88.25 Z:-0.137 counted 3 pulses",
	"ok X:104.50 Y:88.25 Z:-0.137",
}

func TestTouchInManyWords(t *testing.T) {
	d := standard(t)
	around := [][2][]string{
		{{}, {"ok"}},
		{{" T:21.0 /0.0 B:22.0 /0.0 @:0", "echo:busy: probing"}, {"// nothing", "X:60.50 Y:76.25 Z:5.00 E:0.00 Count X:4840 Y:6100 Z:2000", "ok P15 B3"}},
		{{"going to X:104.50 Y:88.25", "X:60.50 Y:76.25 Z:5.00 E:0.00 Count A:4840 B:6100 Z:2000"}, {" T:21.0 /0.0", "ok T:21.0 /0.0"}},
	}
	for _, line := range touches {
		for k, a := range around {
			lines := append(append(append([]string{}, a[0]...), line), a[1]...)
			if strings.HasPrefix(line, "ok") {
				lines = lines[:len(lines)-1]
			}
			x, y, z, dec, ok := d.ReadTouch(reply(lines...))
			if !ok || x != 104.5 || y != 88.25 || z != -0.137 || dec != 3 {
				t.Errorf("%q in %d: %v %v %v (%d decimals) %v", line, k, x, y, z, dec, ok)
			}
		}
	}
}

// What is not there is not believed.
func TestNoTouch(t *testing.T) {
	d := standard(t)
	for _, lines := range [][]string{
		{},
		{"no contact"},
		{"X:104.50 Y:88.25"},
		{"X:104.50 Y:88.25 Z:nan"},
		{"X:104.50 Y:88.25 Z:-inf"},
		{"X:104.50 Y:88.25 Z:1e-3"},
		{"X:104.50 Y:88.25 Z:--3"},
		{"X:104.50 Y:88.25 Z:1.2.3"},
		{"X:104,50 Y:88,25 Z:0,137"},
		{"X:104.50 Y:88.25 Z:99999"},
		{"X:104.50 Y:88.25 Z:-0.13jok"},
		{"X:104.50 Y:88.25 Z:-137um"},
		{"X:104.50 Y:88.25 Z:0x10"},
		{"X:104.50 Y:88.25 Z failed: 3"},
		{"X:104.50 Y:88.25 Z: nan, tries: 3"},
		{"Y:88.25 X:104.50 Z:-0.137"},
		{"X:104.50 Y:88.25 \x01Z:-0.137"},
		{"X:104.50 Y:88.25 Z:-0.\xff37"},
		{"MAX:104.50 MAY:88.25 OZ:-0.137"},
		{"[hit:104.500,88.250,-0.137:0]"},
		{"[hit:104.500,88.250,-0.137]"},
		{"[hit:104.500,88.250:1]"},
		{"X:104.50 Y:88.25 Z:0.10", "[hit:104.500,88.250,-0.137:0]"},
		{"X:60.50 Y:76.25 Z:5.00 E:0.00 Count X:4840 Y:6100 Z:2000"},
		{"Error:X:104.50 Y:88.25 Z:-0.137"},
		{"T:21.0 /0.0 X:104.50 Y:88.25"},
	} {
		if x, y, z, _, ok := d.ReadTouch(reply(append(lines, "ok")...)); ok {
			t.Errorf("%q is read as %v %v %v", lines, x, y, z)
		}
	}
}

func TestTheSlowTouchCounts(t *testing.T) {
	d := standard(t)
	_, _, z, _, ok := d.ReadTouch(reply("fast X:1 Y:2 Z:0.52", "slow X:1 Y:2 Z:0.50", "ok"))
	if !ok || z != 0.5 {
		t.Errorf("%v %v", z, ok)
	}
}

func TestDecimalsAreCounted(t *testing.T) {
	d := standard(t)
	for text, want := range map[string]int{"3": 0, "0.5": 1, "-0.04": 2, ".125": 3, "1.0000": 4} {
		if _, _, _, dec, ok := d.ReadTouch(reply("X:1 Y:2 Z:"+text, "ok")); !ok || dec != want {
			t.Errorf("%s: %d %v", text, dec, ok)
		}
	}
}

// A pattern of the owner replaces the shape.
func TestOwnPattern(t *testing.T) {
	d, err := dialect.New(dialect.Words{Patterns: map[string]string{
		"touch":   `^H (?P<z>\S+) @ (?P<x>\S+)/(?P<y>\S+)$`,
		"request": `^button measure$`,
	}})
	if err != nil {
		t.Fatal(err)
	}
	x, y, z, dec, ok := d.ReadTouch(reply("X:1 Y:1 Z:1", "H -0.25 @ 10.5/20", "ok"))
	if !ok || x != 10.5 || y != 20 || z != -0.25 || dec != 2 {
		t.Errorf("%v %v %v %v", x, y, z, ok)
	}
	if _, _, _, _, ok := d.ReadTouch(reply("X:1 Y:1 Z:1", "ok")); ok {
		t.Error("the shape counts beside the pattern")
	}
	if _, _, _, _, ok := d.ReadTouch(reply("H nan @ 10.5/20", "ok")); ok {
		t.Error("nan is believed")
	}
	if !d.IsRequest(gcode.ParseLine([]byte("button measure"))) || d.IsRequest(gcode.ParseLine([]byte("button"))) {
		t.Error("request")
	}
}

// Whatever the numbers, signs and gaps: what was said is what is read.
func TestTouchOfAnyNumbers(t *testing.T) {
	d := standard(t)
	rapid.Check(t, func(t *rapid.T) {
		um := func(name string) int64 { return rapid.Int64Range(-999999, 999999).Draw(t, name) }
		v := [3]int64{um("x"), um("y"), um("z")}
		style := rapid.SampledFrom([]string{"%s%s", "%s:%s", "%s: %s", "%s=%s", "%s = %s", "%s %s"}).Draw(t, "style")
		gap := rapid.SampledFrom([]string{" ", ", ", " / ", "  ", "; "}).Draw(t, "gap")
		letters := rapid.SampledFrom([]string{"XYZ", "xyz"}).Draw(t, "letters")
		words := rapid.StringMatching(`[a-wA-W ]{0,12}`).Draw(t, "words")
		if strings.Contains(strings.ToLower(words), "busy") {
			t.Skip()
		}
		var parts []string
		for k := range 3 {
			parts = append(parts, fmt.Sprintf(style, letters[k:k+1], mm(v[k])))
		}
		line := "hit " + words + " " + strings.Join(parts, gap)
		x, y, z, dec, ok := d.ReadTouch(reply(line, "ok"))
		if !ok || dec != 3 || um3(x) != v[0] || um3(y) != v[1] || um3(z) != v[2] {
			t.Fatalf("%q: %v %v %v %d %v", line, x, y, z, dec, ok)
		}
	})
}

func mm(um int64) string {
	sign := ""
	if um < 0 {
		sign, um = "-", -um
	}
	return fmt.Sprintf("%s%d.%03d", sign, um/1000, um%1000)
}

func um3(v float64) int64 {
	if v < 0 {
		return -int64(-v*1000 + 0.5)
	}
	return int64(v*1000 + 0.5)
}
