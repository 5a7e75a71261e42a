package gcode_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"abbed/config/outside"
	"abbed/gcode"

	"pgregory.net/rapid"
)

func TestParseLine(t *testing.T) {
	none := gcode.None
	for _, c := range []struct {
		in   string
		want gcode.Line
	}{
		{"ok", gcode.Line{Kind: gcode.OK, Text: "ok", Number: none, Planner: none, Buffer: none}},
		{"ok\r\n", gcode.Line{Kind: gcode.OK, Text: "ok", Number: none, Planner: none, Buffer: none}},
		{"ok N12 P15 B3", gcode.Line{Kind: gcode.OK, Text: "ok N12 P15 B3", Number: 12, Planner: 15, Buffer: 3}},
		{"ok T:20.1 /0.0 B:21.0 /0.0", gcode.Line{Kind: gcode.OK, Text: "ok T:20.1 /0.0 B:21.0 /0.0", Number: none, Planner: none, Buffer: none}},
		{"OK", gcode.Line{Kind: gcode.OK, Text: "OK", Number: none, Planner: none, Buffer: none}},
		{"okay then", gcode.Line{Kind: gcode.Report, Text: "okay then", Number: none, Planner: none, Buffer: none}},
		{"okok", gcode.Line{Kind: gcode.Report, Text: "okok", Number: none, Planner: none, Buffer: none}},
		{"Resend: 17", gcode.Line{Kind: gcode.Resend, Text: "Resend: 17", Number: 17, Planner: none, Buffer: none}},
		{"rs 17", gcode.Line{Kind: gcode.Resend, Text: "rs 17", Number: 17, Planner: none, Buffer: none}},
		{"Resend:N17", gcode.Line{Kind: gcode.Resend, Text: "Resend:N17", Number: 17, Planner: none, Buffer: none}},
		{"Resend: 1x7", gcode.Line{Kind: gcode.Resend, Text: "Resend: 1x7", Number: none, Planner: none, Buffer: none}},
		{"Resend: 99999999999", gcode.Line{Kind: gcode.Resend, Text: "Resend: 99999999999", Number: none, Planner: none, Buffer: none}},
		{"Error:wrong check, Last Line: 16", gcode.Line{Kind: gcode.Fault, Text: "Error:wrong check, Last Line: 16", Number: 17, Planner: none, Buffer: none}},
		{"Error:no such node", gcode.Line{Kind: gcode.Fault, Text: "Error:no such node", Number: none, Planner: none, Buffer: none}},
		{"Error:Printer HALTED", gcode.Line{Kind: gcode.Fault, Text: "Error:Printer HALTED", Number: none, Planner: none, Buffer: none, Halts: true}},
		{"!! no", gcode.Line{Kind: gcode.Fault, Text: "!! no", Number: none, Planner: none, Buffer: none, Halts: true}},
		{"start", gcode.Line{Kind: gcode.Banner, Text: "start", Number: none, Planner: none, Buffer: none}},
		{"\x00\x00start\r", gcode.Line{Kind: gcode.Banner, Text: "start", Number: none, Planner: none, Buffer: none}},
		{"starting up", gcode.Line{Kind: gcode.Report, Text: "starting up", Number: none, Planner: none, Buffer: none}},
		{"echo:busy: working", gcode.Line{Kind: gcode.Busy, Text: "echo:busy: working", Number: none, Planner: none, Buffer: none}},
		{"Cap:BUSY_LINES:1", gcode.Line{Kind: gcode.Report, Text: "Cap:BUSY_LINES:1", Number: none, Planner: none, Buffer: none}},
		{" T:20.0 /0.0", gcode.Line{Kind: gcode.Temperatures, Text: "T:20.0 /0.0", Number: none, Planner: none, Buffer: none}},
		{"T0: 20.0", gcode.Line{Kind: gcode.Temperatures, Text: "T0: 20.0", Number: none, Planner: none, Buffer: none}},
		{"Touch: 20.0", gcode.Line{Kind: gcode.Report, Text: "Touch: 20.0", Number: none, Planner: none, Buffer: none}},
		{"echo:hello", gcode.Line{Kind: gcode.Echo, Text: "echo:hello", Number: none, Planner: none, Buffer: none}},
		{"//hello", gcode.Line{Kind: gcode.Comment, Text: "//hello", Number: none, Planner: none, Buffer: none}},
		{"wait", gcode.Line{Kind: gcode.Wait, Text: "wait", Number: none, Planner: none, Buffer: none}},
		{"", gcode.Line{Kind: gcode.Empty, Number: none, Planner: none, Buffer: none}},
		{"\r\x00 \t", gcode.Line{Kind: gcode.Empty, Number: none, Planner: none, Buffer: none}},
		{"X:1\x01 Y:2", gcode.Line{Kind: gcode.Report, Text: "X:1? Y:2", Number: none, Planner: none, Buffer: none, Damaged: true}},
		{"X:1\xff Y:2", gcode.Line{Kind: gcode.Report, Text: "X:1? Y:2", Number: none, Planner: none, Buffer: none, Damaged: true}},
		{"NAME:a\u202eb\u200bc", gcode.Line{Kind: gcode.Report, Text: "NAME:a?b?c", Number: none, Planner: none, Buffer: none}},
		{"\u200b", gcode.Line{Kind: gcode.Report, Text: "?", Number: none, Planner: none, Buffer: none}},
		{"20 \u00b0C", gcode.Line{Kind: gcode.Report, Text: "20 \u00b0C", Number: none, Planner: none, Buffer: none}},
	} {
		if got := gcode.ParseLine([]byte(c.in)); got != c.want {
			t.Errorf("%q:\n%+v, want\n%+v", c.in, got, c.want)
		}
	}
	if l := gcode.ParseLine([]byte(strings.Repeat("y", 10000))); !l.Damaged || len(l.Text) != 4096 {
		t.Errorf("10 kB: %d %v", len(l.Text), l.Damaged)
	}
}

// Any number that is asked for is read, whatever the form.
func TestResendOfAnyLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 99999999).Draw(t, "n")
		form := rapid.SampledFrom([]string{"Resend: %d", "resend:%d", "rs %d", "rs N%d", "Resend:N%d ", "RESEND %d"}).Draw(t, "form")
		l := gcode.ParseLine([]byte(sprintf(form, n)))
		if l.Kind != gcode.Resend || l.Number != n {
			t.Fatalf("%+v", l)
		}
	})
}

func FuzzParseLine(f *testing.F) {
	for _, s := range []string{"ok N1 P2 B3", "Resend: 5", "Error:x, Last Line: 4", "start", " T:1 /2", "\x00ok\r\n", "!!", "\xff\xfe", "Error:last line last line: "} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		l := gcode.ParseLine(b)
		if !utf8.ValidString(l.Text) && l.Damaged == false {
			t.Errorf("%q is not readable", l.Text)
		}
		if outside.Text(strings.ReplaceAll(l.Text, "\t", "")) != strings.ReplaceAll(l.Text, "\t", "") {
			t.Errorf("%q cannot be shown", l.Text)
		}
		if strings.ContainsAny(l.Text, "\x00\r") || l.Number < gcode.None || l.Planner < gcode.None || l.Buffer < gcode.None {
			t.Errorf("%+v", l)
		}
		if (l.Kind == gcode.Empty) != (l.Text == "") {
			t.Errorf("%+v", l)
		}
	})
}

func BenchmarkParseLine(b *testing.B) {
	for name, line := range map[string]string{
		"ok": "ok", "touch": "Surface met at X: 104.50 Y: 88.25 Z: -0.137", "temperatures": " T:20.10 /0.00 B:21.00 /0.00 @:0 B@:0", "resend": "Resend: 4218",
	} {
		b.Run(name, func(b *testing.B) {
			in := []byte(line)
			b.ReportAllocs()
			for b.Loop() {
				gcode.ParseLine(in)
			}
		})
	}
}
