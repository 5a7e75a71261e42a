package gcode_test

import (
	"context"
	"net"
	"testing"
	"testing/synctest"

	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Each fault of the bench at each command of a small job, framed and plain: the
// job ends well, or the session says why it ended; nothing hangs, no report is
// given to another touch, and no node is believed that was not written.
//
// Damage that leaves a good line (one digit for another in a reply, or in a
// plain line; a plain line that comes twice) cannot be seen on the wire; such
// faults are exempt from the comparison of values.
func TestEachFaultAtEachCommand(t *testing.T) {
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	unseen := map[string]bool{"bit-out": true, "byte-out": true, "wrong-echo": true}
	unseenPlain := map[string]bool{"bit-in": true, "byte-in": true, "twice-in": true}
	last := 24
	if testing.Short() {
		last = 8
	}
	for _, name := range bench.Faults() {
		recovered, ended := 0, 0
		for when := 1; when <= last; when++ {
			for _, plain := range []bool{false, true} {
				synctest.Test(t, func(t *testing.T) {
					sc := steady(t)
					sc.NoFraming = plain
					err := smallJob(t, sc, bench.Options{Seed: uint64(when), Faults: []bench.Fault{{Name: name, When: sprintf("%d", when)}}}, d,
						!unseen[name] && !(plain && unseenPlain[name]))
					if err != nil {
						ended++
					} else {
						recovered++
					}
				})
			}
		}
		t.Logf("%-12s recovered %2d, ended with a reason %2d", name, recovered, ended)
	}
}

// smallJob greets, reads the map, homes, touches, writes a node and reads it
// back. It returns the error with which it stopped.
func smallJob(t *testing.T, sc bench.Scenario, o bench.Options, d *dialect.Dialect, values bool) error {
	near, far := net.Pipe()
	p := bench.New(sc, o)
	done := make(chan error, 1)
	go func() { done <- p.Serve(context.Background(), far) }()
	s := gcode.NewSession(near, gcode.Options{})
	defer func() { s.Close(); <-done }()
	ctx := context.Background()
	if err := s.Greet(ctx); err != nil {
		return err
	}
	for _, q := range []gcode.Query{d.Identify(), d.Lever(), d.Limits(), d.Settings()} {
		if _, err := s.Ask(ctx, q); err != nil {
			return err
		}
	}
	if _, err := s.Move(ctx, d.Home()); err != nil {
		return err
	}
	for k := range 6 {
		place := record.Place{U: 80 + 10*float64(k), V: 100}
		r, err := s.Move(ctx, d.Touch(place))
		if err != nil {
			return err
		}
		if x, y, _, _, ok := d.ReadTouch(r); values && ok && (x != place.U || y != place.V) {
			t.Errorf("%v: touch at %v has the report of %v %v", o.Faults, place, x, y)
		}
	}
	if _, err := s.Ask(ctx, d.Node(1, 1, 321)); err != nil {
		return err
	}
	r, err := s.Ask(ctx, d.Map())
	if err != nil {
		return err
	}
	rows, ok, err := d.ReadMap(r)
	if err != nil || !ok {
		return err
	}
	if values && rows[1][1] != 321 && p.Nodes()[1][1] == 0.321 {
		t.Errorf("%v: node read back as %d", o.Faults, rows[1][1])
	}
	return nil
}
