package dialect_test

import (
	"bytes"
	"math"
	"testing"

	"abbed/gcode"
)

// fuzzed cuts fuzz input into the lines of a reply.
func fuzzed(b []byte) gcode.Reply {
	var lines []string
	for _, l := range bytes.Split(b, []byte("\n")) {
		lines = append(lines, string(l))
	}
	return reply(lines...)
}

func seed(f *testing.F) {
	for _, l := range touches {
		f.Add([]byte(l + "\nok"))
	}
	for _, t := range tables {
		var b []byte
		for _, l := range t {
			b = append(append(b, l...), '\n')
		}
		f.Add(b)
	}
	f.Add([]byte("limits on X0 Y0 Z0 X1 Y1 Z1\nok"))
	f.Add([]byte("NAME:x Y:z\nCap:A:1\nM420 S1\n12/34\nok T:1/2 B:3/4"))
	f.Add([]byte("X1X1X1X1Y2Z.Z-.Z+0.\xff\x00"))
}

func sane(t *testing.T, what string, v ...float64) {
	t.Helper()
	for _, x := range v {
		if math.IsNaN(x) || math.Abs(x) >= 10000 {
			t.Errorf("%s: %v is believed", what, x)
		}
	}
}

func FuzzReadTouch(f *testing.F) {
	seed(f)
	d := standard(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		x, y, z, dec, ok := d.ReadTouch(fuzzed(b))
		sane(t, "touch", x, y, z)
		if dec < 0 || dec > 15 || !ok && (x != 0 || y != 0 || z != 0) {
			t.Errorf("%v %v %v %d %v", x, y, z, dec, ok)
		}
	})
}

func FuzzReadMap(f *testing.F) {
	seed(f)
	d := standard(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		rows, ok, err := d.ReadMap(fuzzed(b))
		if err != nil || !ok {
			if rows != nil {
				t.Errorf("%v beside %v", rows, err)
			}
			return
		}
		for _, row := range rows {
			if len(row) != len(rows[0]) || len(row) < 2 {
				t.Errorf("ragged: %v", rows)
			}
			for _, um := range row {
				if um > 10000 || um < -10000 {
					t.Errorf("height %d", um)
				}
			}
		}
	})
}

func FuzzReadOthers(f *testing.F) {
	seed(f)
	d := standard(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		r := fuzzed(b)
		x, y, z, _ := d.ReadPosition(r)
		l, zo, ok := d.ReadLever(r)
		sane(t, "position and lever", x, y, z, l.X, l.Y, zo)
		if ok && l.Length() > 300 {
			t.Errorf("lever %v", l)
		}
		if lim, ok := d.ReadLimits(r); ok && !lim.Travel.Valid() {
			t.Errorf("limits %+v", lim)
		}
		tm, _ := d.ReadTemperatures(r)
		sane(t, "temperatures", tm.Nozzle, tm.NozzleTarget, tm.Bed, tm.BedTarget)
		if id, ok := d.ReadIdentity(r); ok != (len(id.Fields) > 0) {
			t.Errorf("identity %v", id)
		}
		d.ReadSettings(r)
		d.ReadLevelling(r)
		d.ReadPrinting(r)
	})
}
