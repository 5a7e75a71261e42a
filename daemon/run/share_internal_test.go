package run

import (
	"context"
	"testing"
	"time"

	"abbed/gcode"
	"abbed/probe"
)

// slowLine takes its time for each command.
type slowLine struct {
	clock *time.Time
	takes time.Duration
}

func (s slowLine) Ask(context.Context, gcode.Query) (gcode.Reply, error) {
	*s.clock = s.clock.Add(s.takes)
	return gcode.Reply{}, nil
}

func (s slowLine) Move(ctx context.Context, _ gcode.Motion) (gcode.Reply, error) {
	return s.Ask(ctx, gcode.Query{})
}

// TestHostShare: what the printer takes is its own, what lies between an answer
// and the next command is the host's, and neither counts before the machine is
// homed or while a person is waited for.
func TestHostShare(t *testing.T) {
	now := time.Unix(0, 0)
	line := &timed{line: slowLine{&now, 4 * time.Second}, now: func() time.Time { return now }}
	do := func(host time.Duration) {
		now = now.Add(host)
		_, _ = line.Move(t.Context(), gcode.Motion{})
	}
	do(time.Hour) // before homing
	line.show(probe.View{Phase: probe.PhaseWorking, Homed: true})
	do(20 * time.Millisecond)
	do(20 * time.Millisecond)
	line.show(probe.View{Phase: probe.PhaseGauge, Homed: true})
	do(time.Minute) // the person
	line.show(probe.View{Phase: probe.PhaseWorking, Homed: true})
	do(40 * time.Millisecond)
	if line.busy != 16*time.Second || line.waited != 80*time.Millisecond {
		t.Errorf("busy %v, waited %v", line.busy, line.waited)
	}
	var d Runner
	d.noteShare(line)
	if d.share == nil || *d.share != 0.005 {
		t.Errorf("share %v", d.share)
	}
}
