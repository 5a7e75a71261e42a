package gcode_test

import (
	"bufio"
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/gcode"
)

// TestAnswerWithoutEnd: a command is answered by so many lines and so many bytes
// and no more; then the session is dead, and says which command, why, and that
// all of it was not kept. What is within the bounds is kept whole.
func TestAnswerWithoutEnd(t *testing.T) {
	row := strings.Repeat(" -0.123", 500)
	for name, c := range map[string]struct {
		line  string
		times int
		dies  bool
	}{
		"a map of 64 x 64, and settings":   {strings.Repeat(" -0.123", 64), 400, false},
		"three thousand lines of two":      {"y", 3000, false},
		"many short lines":                 {"y", 5000, true},
		"many long lines":                  {row, 100, true},
		"one line without an end":          {strings.Repeat("y", 1<<20), 1, false}, // cut, and marked as damaged
		"echoes":                           {"echo:  M92 X80.00 Y80.00 Z400.00 E93.00", 20000, true},
		"temperatures that come meanwhile": {" T:20.0 /0.0 B:20.0 /0.0", 20000, true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, f := pair(t, gcode.Options{})
				go func() {
					f.read()
					for range c.times {
						if _, err := f.conn.Write([]byte(c.line + "\n")); err != nil {
							return
						}
					}
					f.say("ok")
				}()
				r, err := ask(s, "M503")
				if !c.dies {
					if err != nil || len(r.Lines) != c.times {
						t.Errorf("%d lines of %d, %v", len(r.Lines), c.times, err)
					}
					return
				}
				if !errors.Is(err, gcode.ErrEndless) || !strings.Contains(err.Error(), "M503") || !errors.Is(s.Err(), gcode.ErrEndless) {
					t.Errorf("%v; the session: %v", err, s.Err())
				}
				if gcode.Code(err) != "answer-endless" {
					t.Errorf("code %q", gcode.Code(err))
				}
			})
		})
	}
}

// TestGreetingWithoutEnd: the same holds for the first word.
func TestGreetingWithoutEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			for range 5000 {
				if _, err := f.conn.Write([]byte("NAME:one\n")); err != nil {
					return
				}
			}
			f.say("ok")
			go scripted(f, func(string) []string { return []string{"NAME:one", "ok"} })
		}()
		if err := s.Greet(context.Background()); !errors.Is(err, gcode.ErrEndless) || !strings.Contains(err.Error(), "M115") {
			t.Errorf("%v", err)
		}
	})
}

// TestChatterWithoutEnd: what nobody asked for is not kept, so that it may go on.
func TestChatterWithoutEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		s := gcode.NewSession(near, gcode.Options{})
		defer func() { s.Close(); far.Close() }()
		for range 20000 {
			if _, err := far.Write([]byte("echo:still here\n")); err != nil {
				t.Fatal(err)
			}
		}
		go func() {
			if _, err := bufio.NewReader(far).ReadString('\n'); err == nil {
				_, _ = far.Write([]byte("X:1 Y:2 Z:3\nok\n"))
			}
		}()
		if _, err := ask(s, "M114"); err != nil {
			t.Error(err)
		}
	})
}
