package gcode_test

import (
	"bufio"
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

func newReader(c net.Conn) *bufio.Reader { return bufio.NewReader(c) }

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

func ask(s *gcode.Session, text string) (gcode.Reply, error) {
	return s.Ask(context.Background(), gcode.NewQuery(text))
}

// A late ok after a deadline finds nobody to answer.
func TestLateOKAnswersNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			time.Sleep(11 * time.Second)
			f.say("X:1 Y:2 Z:3", "ok")
		}()
		began := time.Now()
		if _, err := ask(s, "M114"); !errors.Is(err, gcode.ErrSilent) {
			t.Fatalf("err %v", err)
		}
		if d := time.Since(began); d != 10*time.Second {
			t.Errorf("noticed after %v", d)
		}
		time.Sleep(5 * time.Second)
		if _, err := ask(s, "M105"); !errors.Is(err, gcode.ErrSilent) {
			t.Errorf("after it: %v", err)
		}
		if c := s.Counts(); c.Unasked != 1 || c.Sent != 1 {
			t.Errorf("%+v", c)
		}
		s.Close()
	})
}

func TestBusyRenewsTheDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			for range 45 {
				time.Sleep(2 * time.Second)
				f.say("echo:busy: processing", " T:20.0 /0.0 B:20.0 /0.0")
			}
			f.say("ok")
		}()
		began := time.Now()
		_, err := s.Move(context.Background(), gcode.NewMotion("G28", gcode.In(gcode.Home)))
		if err != nil || time.Since(began) != 90*time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		s.Close()
	})
}

// Temperatures that come by themselves do not hide a lost ok.
func TestChatterIsNoSignOfLife(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			for range 100 {
				time.Sleep(time.Second)
				f.say(" T:20.0 /0.0 B:20.0 /0.0", "echo:hello", "// note", "wait")
			}
		}()
		began := time.Now()
		if _, err := ask(s, "M114"); !errors.Is(err, gcode.ErrSilent) || time.Since(began) != 10*time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		s.Close()
		f.conn.Close()
		time.Sleep(time.Hour) // let the far end run out
	})
}

// While heating, temperatures are the answer.
func TestTemperaturesAreLifeWhileHeating(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			for range 60 {
				time.Sleep(2 * time.Second)
				f.say(" T:20.0 /60.0")
			}
			f.say("ok")
		}()
		if _, err := s.Move(context.Background(), gcode.NewMotion("M190 S60", gcode.In(gcode.Heat))); err != nil {
			t.Error(err)
		}
		s.Close()
	})
}

func TestBusyForEverEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			for {
				time.Sleep(2 * time.Second)
				if _, err := fmt.Fprintf(f.conn, "busy\n"); err != nil {
					return
				}
			}
		}()
		if _, err := ask(s, "M114"); !errors.Is(err, gcode.ErrOverdue) {
			t.Error(err)
		}
		s.Close()
		f.conn.Close()
		time.Sleep(time.Hour) // let the far end run out
	})
}

func TestWhatEndsASession(t *testing.T) {
	for _, c := range []struct {
		name   string
		say    []string
		want   error
		query  bool // for a query too
		unable bool
	}{
		{"banner", []string{"start"}, gcode.ErrRestarted, true, false},
		{"banner behind garbage", []string{"\x00\xfe\x80start\r"}, gcode.ErrRestarted, true, false},
		{"halt", []string{"Error:Heating failed. Printer halted"}, gcode.ErrHalted, true, false},
		{"bang", []string{"!! stopped"}, gcode.ErrHalted, true, false},
		{"fault on a motion", []string{"Error:it did not work", "ok"}, nil, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, f := pair(t, gcode.Options{})
				go func() { f.read(); f.say(c.say...) }()
				_, err := s.Move(context.Background(), gcode.NewMotion("G28"))
				var fault *gcode.FaultError
				if c.want != nil && !errors.Is(err, c.want) || c.want == nil && !errors.As(err, &fault) {
					t.Errorf("err %v", err)
				}
				if s.Err() == nil {
					t.Error("the session lives")
				}
				select {
				case <-s.Done():
				default:
					t.Error("Done is open")
				}
				s.Close()
			})
		})
	}
}

func TestAFaultFailsItsQueryOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			f.read()
			f.say("Error:no such node", "ok")
			f.read()
			f.say("ok")
		}()
		_, err := ask(s, "M421 I99 J0 Z0")
		var fault *gcode.FaultError
		if !errors.As(err, &fault) || fault.Command != "M421 I99 J0 Z0" || fault.Line.Text != "Error:no such node" || fault.Hint == "" {
			t.Errorf("%v", err)
		}
		if _, err := ask(s, "M500"); err != nil {
			t.Error(err)
		}
		s.Close()
	})
}

func TestAFaultNobodyAskedForEndsTheSession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		f.say("Error:sensor broken")
		<-s.Done()
		if _, err := ask(s, "M114"); err == nil || !strings.Contains(err.Error(), "sensor broken") {
			t.Error(err)
		}
		s.Close()
	})
}

// A context that ends in flight is not the end of the session: its ok is
// waited for, and the next command gets its own.
func TestContextEndsInFlight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() {
			for _, want := range []string{"M114", "M105"} {
				if got := f.read(); got != want {
					t.Errorf("sent %q, want %q", got, want)
				}
				time.Sleep(5 * time.Second)
				f.say("answer to "+want, "ok")
			}
		}()
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		began := time.Now()
		if _, err := s.Ask(ctx, gcode.NewQuery("M114")); !errors.Is(err, context.DeadlineExceeded) || time.Since(began) != time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		r, err := ask(s, "M105")
		if err != nil || len(r.Lines) != 1 || r.Lines[0].Text != "answer to M105" || s.Counts().Sent != 2 {
			t.Errorf("%q %v", texts(r.Lines), err)
		}
		s.Close()
	})
}

func TestContextEndedBeforeSendsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _ := pair(t, gcode.Options{})
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if _, err := s.Ask(ctx, gcode.NewQuery("M114")); !errors.Is(err, context.Canceled) || s.Counts().Sent != 0 || s.Err() != nil {
			t.Errorf("%v %+v %v", err, s.Counts(), s.Err())
		}
		s.Close()
	})
}

// CRLF, NULs, lines split and glued, and a line of 10 kB.
func TestLinesHoweverTheyCome(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var unasked []string
		s, f := pair(t, gcode.Options{OnUnasked: func(l gcode.Line) { unasked = append(unasked, l.Text) }})
		go func() {
			f.read()
			fmt.Fprint(f.conn, "\x00X:1 Y", ":2 Z", ":3\r\n\r\n"+strings.Repeat("x", 10000)+"\nsecond\r\n// aside\nok")
			time.Sleep(time.Second)
			fmt.Fprint(f.conn, "\r\nok\nunasked\n")
		}()
		r, err := ask(s, "M114")
		got := texts(r.Lines)
		if err != nil || len(got) != 4 || got[0] != "X:1 Y:2 Z:3" || len(got[1]) != 4096 || !r.Lines[1].Damaged || got[2] != "second" {
			t.Errorf("%v %d lines: %.40q", err, len(got), got)
		}
		time.Sleep(time.Second)
		s.Close()
		if len(unasked) != 2 || unasked[0] != "// aside" || unasked[1] != "unasked" {
			t.Errorf("unasked %q", unasked)
		}
	})
}

func TestLostLink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		go func() { f.read(); f.conn.Close() }()
		if _, err := ask(s, "M114"); !errors.Is(err, gcode.ErrLost) {
			t.Error(err)
		}
		s.Close()
		if err := s.StopNow(); !errors.Is(err, gcode.ErrClosed) {
			t.Error(err)
		}
	})
}

func TestUnsendableTexts(t *testing.T) {
	for _, text := range []string{"", " ", "G28\nG1", "M117 a;b", "M1*2", "N1 M105", "M117 \u00e4", "5", strings.Repeat("M", 257)} {
		if gcode.Check(text) == nil {
			t.Errorf("%q is taken", text)
		}
	}
	for _, text := range []string{"G28", "g1 X2", "G 01 X2", "M109 S200", "M420 S1 G1", "G38.2 Z1", "M104S9"} {
		if gcode.Check(text) != nil || gcode.CheckQuery(text) == nil {
			t.Errorf("%q is taken for a query", text)
		}
	}
	for _, text := range []string{"M115", "M420 V", "G90", "M84 S120", "M211 S0", "M421 I1 J2 Z-0.057", "G4 P1"} {
		if err := gcode.CheckQuery(text); err != nil {
			t.Error(err)
		}
	}
}
