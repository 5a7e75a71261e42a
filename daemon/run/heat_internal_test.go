package run

import (
	"testing"
	"time"

	"abbed/config"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/dialect"
)

// Temperatures that the printer says by itself are shown if they are newer than
// those that were asked; half a line is not.
func TestTemperaturesThatComeByThemselves(t *testing.T) {
	words, err := known.Words(config.Default())
	if err != nil {
		t.Fatal(err)
	}
	d := &Runner{o: Options{Words: words}}
	if got := d.Temperatures(&link.Facts{}); got != nil {
		t.Fatalf("never heard, but shown: %+v", got)
	}
	asked := &link.Facts{Temps: &dialect.Temps{Nozzle: 21, Bed: 22}, TempsAt: time.Now()}
	if got := d.Temperatures(asked); got.Nozzle != 21 || !got.Heard.Equal(asked.TempsAt) {
		t.Errorf("asked: %+v", got)
	}
	d.feel(gcode.ParseLine([]byte(" T:48.5 /200.0 B:40.1 /60.0")))
	if got := d.Temperatures(asked); got.Nozzle != 48.5 || got.NozzleTarget != 200 || got.BedTarget != 60 || got.Heard.Before(asked.TempsAt) {
		t.Errorf("heard: %+v", got)
	}
	d.feel(gcode.ParseLine([]byte("T:4")))
	d.feel(gcode.ParseLine([]byte("echo:T:99.0 /0.0")))
	if got := d.Temperatures(asked); got.Nozzle == 99 {
		t.Errorf("what was no report is shown: %+v", got)
	}
	asked.TempsAt = time.Now().Add(time.Second)
	if got := d.Temperatures(asked); got.Nozzle != 21 {
		t.Errorf("asked anew: %+v", got)
	}
}
