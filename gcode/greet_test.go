package gcode_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode"
)

var sprintf = fmt.Sprintf

// scripted answers each line through a function, until the pipe ends.
func scripted(f *far, answer func(line string) []string) {
	for {
		line, err := f.in.ReadString('\n')
		if err != nil {
			return
		}
		for _, a := range answer(strings.TrimSuffix(line, "\n")) {
			if _, err := fmt.Fprintf(f.conn, "%s\n", a); err != nil {
				return
			}
		}
	}
}

// greeted runs Greet against a scripted printer.
func greeted(t *testing.T, answer func(string) []string, then func(*gcode.Session, error)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go scripted(f, answer)
		then(s, s.Greet(context.Background()))
		s.Close()
		f.conn.Close()
	})
}

func TestGreetFindsOutFraming(t *testing.T) {
	hello := []string{"NAME:one", "ok"}
	for _, c := range []struct {
		name   string
		answer func() func(string) []string
		framed bool
	}{
		{"checks and counts", func() func(string) []string { return (&ledger{}).one }, true},
		{"says no ok after a request", func() func(string) []string {
			p := &ledger{}
			return func(l string) []string {
				a := p.one(l)
				if strings.HasPrefix(a[0], "Error") {
					return a[:len(a)-1]
				}
				return a
			}
		}, true},
		{"knows no numbers", func() func(string) []string {
			return func(l string) []string {
				if l == "M115" {
					return hello
				}
				return []string{"echo:what is " + l, "ok"}
			}
		}, false},
		{"knows no numbers and says fault", func() func(string) []string {
			return func(l string) []string {
				if l == "M115" {
					return hello
				}
				return []string{"Error:what is " + l, "ok"}
			}
		}, false},
		{"skips numbers and checks", func() func(string) []string { return func(string) []string { return hello } }, false},
		{"checks but takes a line twice", func() func(string) []string {
			p := &ledger{}
			return func(l string) []string {
				if strings.HasPrefix(l, "N1 ") {
					p.last = 0
				}
				return p.one(l)
			}
		}, false},
		{"says no more than ok", func() func(string) []string { return func(string) []string { return []string{"ok"} } }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			greeted(t, c.answer(), func(s *gcode.Session, err error) {
				if err != nil || s.Framed() != c.framed {
					t.Fatalf("framed %v, %v", s.Framed(), err)
				}
				for range 3 { // in step afterwards
					if _, err := ask(s, "M118 7"); err != nil && !strings.Contains(err.Error(), "what is") {
						t.Error(err)
					}
				}
			})
		})
	}
}

func TestGreetWaitsForTheBanner(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		up := time.Now().Add(4 * time.Second)
		go func() {
			time.Sleep(time.Until(up))
			f.say("start", "echo: free memory 1234", "Error:card not found")
		}()
		p := &ledger{}
		go scripted(f, func(l string) []string {
			if time.Now().Before(up) {
				return nil // still in its loader: lost
			}
			return p.one(l)
		})
		if err := s.Greet(context.Background()); err != nil || !s.Framed() {
			t.Errorf("%v", err)
		}
		s.Close()
		f.conn.Close()
	})
}

func TestGreetOfNobodyAndOfAWrongRate(t *testing.T) {
	greeted(t, func(string) []string { return nil }, func(s *gcode.Session, err error) {
		if !errors.Is(err, gcode.ErrSilent) || errors.Is(err, gcode.ErrGarbled) || s.Err() == nil {
			t.Error(err)
		}
	})
	greeted(t, func(string) []string { return []string{"\xf8\x80\x07\xff"} }, func(s *gcode.Session, err error) {
		if !errors.Is(err, gcode.ErrGarbled) {
			t.Error(err)
		}
	})
	greeted(t, func(string) []string { return []string{"Error:Printer halted"} }, func(s *gcode.Session, err error) {
		if !errors.Is(err, gcode.ErrHalted) {
			t.Error(err)
		}
	})
}

// An ok of an earlier line that was taken for a later one's answer: the printer
// asks for the earlier line, and both are done once, in order.
func TestResendOfAnOlderLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, end := net.Pipe()
		s := gcode.NewSession(near, gcode.Options{})
		p := &ledger{}
		drop := 0
		f := &far{t, end, nil}
		f.in = newReader(end)
		go scripted(f, func(l string) []string {
			if drop > 0 && strings.Contains(l, "M118") {
				drop--
				return []string{"ok"} // looks like its answer, but it was not done
			}
			return p.one(l)
		})
		if err := s.Greet(context.Background()); err != nil {
			t.Fatal(err)
		}
		drop = 2
		for i := range 6 {
			if _, err := ask(s, sprintf("M118 %d", i)); err != nil {
				t.Fatal(err)
			}
		}
		if got := strings.Join(p.done, ","); got != "M118 0,M118 1,M118 2,M118 3,M118 4,M118 5" {
			t.Error(got)
		}
		s.Close()
		end.Close()
	})
}

// A printer whose counter has started anew has restarted, even if its banner
// was lost.
func TestACounterThatStartedAnew(t *testing.T) {
	p := &ledger{}
	greeted(t, p.one, func(s *gcode.Session, err error) {
		for i := range 40 {
			if _, err := ask(s, sprintf("M118 %d", i)); err != nil {
				t.Fatal(err)
			}
		}
		p.last = 0
		if _, err := ask(s, "M118 99"); !errors.Is(err, gcode.ErrRestarted) {
			t.Error(err)
		}
	})
}

// Without framing, the lines that belong to a command are told by the answer to
// the first word: a doubled ok does not shift the answers.
func TestDoubledOKWithoutFraming(t *testing.T) {
	twice := false
	greeted(t, func(l string) []string {
		switch l {
		case "M115":
			return []string{"NAME:two", "ok"}
		case "M400":
			if twice {
				return []string{"ok", "ok"}
			}
			return []string{"ok"}
		}
		return []string{"value " + l, "ok"}
	}, func(s *gcode.Session, err error) {
		if err != nil || s.Framed() {
			t.Fatal(err)
		}
		twice = true
		for i := range 20 {
			if _, err := ask(s, "M400"); err != nil {
				t.Fatal(err)
			}
			want := sprintf("M118 %d", i)
			r, err := s.Ask(context.Background(), gcode.NewQuery(want, gcode.Needs(func(l []gcode.Line) bool {
				return len(l) > 0 && strings.HasPrefix(l[0].Text, "value")
			})))
			if err != nil || len(r.Lines) != 1 || r.Lines[0].Text != "value "+want {
				t.Fatalf("%d: %q %v", i, texts(r.Lines), err)
			}
		}
	})
}

// After line 99999 the numbers begin again.
func TestNumbersBeginAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("100,000 lines")
	}
	p := &ledger{}
	highest := 0
	greeted(t, func(l string) []string { a := p.one(l); highest = max(highest, p.last); return a }, func(s *gcode.Session, err error) {
		p.done = nil
		for i := range 100100 {
			if _, err := ask(s, sprintf("M118 %d", i)); err != nil {
				t.Fatal(i, err)
			}
		}
		if highest != 99999 || len(p.done) != 100100 || p.last > 200 {
			t.Errorf("highest %d, done %d, last %d", highest, len(p.done), p.last)
		}
	})
}
