package gcode_test

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode"
)

// far is the printer's end of a pipe, played by a test.
type far struct {
	t    *testing.T
	conn net.Conn
	in   *bufio.Reader
}

func (f *far) read() string {
	s, err := f.in.ReadString('\n')
	if err != nil {
		return ""
	}
	return strings.TrimSuffix(s, "\n")
}

func (f *far) say(lines ...string) {
	for _, l := range lines {
		fmt.Fprintf(f.conn, "%s\n", l)
	}
}

// pair gives a session and the printer's end.
func pair(t *testing.T, o gcode.Options) (*gcode.Session, *far) {
	near, end := net.Pipe()
	s := gcode.NewSession(near, o)
	f := &far{t, end, bufio.NewReader(end)}
	t.Cleanup(func() { s.Close(); end.Close() })
	return s, f
}

func texts(lines []gcode.Line) []string {
	var t []string
	for _, l := range lines {
		t = append(t, l.Text)
	}
	return t
}

func TestAskTakesTheLinesBeforeItsOK(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			if got := f.read(); got != "M114" {
				t.Errorf("sent %q", got)
			}
			f.say("echo:busy: processing", "X:1 Y:2 Z:3", "ok P15 B3")
		}()
		r, err := s.Ask(context.Background(), gcode.NewQuery("M114"))
		if err != nil {
			t.Fatal(err)
		}
		if got := texts(r.Lines); len(got) != 1 || got[0] != "X:1 Y:2 Z:3" || r.OK.Planner != 15 || r.OK.Buffer != 3 {
			t.Errorf("reply %q, ok %+v", got, r.OK)
		}
		time.Sleep(time.Second)
		s.Close()
	})
}
