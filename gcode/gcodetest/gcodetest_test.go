package gcodetest_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/gcodetest"

	"pgregory.net/rapid"
)

// A session with the bench is recorded, then the same session is had with the
// recording alone: same replies, same times.
func TestARecordingPlaysBack(t *testing.T) {
	talk := func(s *gcode.Session) (texts []string, took time.Duration) {
		began := time.Now()
		defer s.Close()
		if err := s.Greet(context.Background()); err != nil {
			t.Fatal(err)
		}
		for _, q := range []string{"M503", "M211", "M420 V", "M999"} {
			r, err := s.Ask(context.Background(), gcode.NewQuery(q))
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range append(r.Lines, r.OK) {
				texts = append(texts, l.Text)
			}
		}
		if _, err := s.Move(context.Background(), gcode.NewMotion("G28", gcode.In(gcode.Home))); err != nil {
			t.Fatal(err)
		}
		return texts, time.Since(began)
	}
	var file bytes.Buffer
	var first []string
	var took time.Duration
	synctest.Test(t, func(t *testing.T) {
		sc, err := bench.Lookup("healthy")
		if err != nil {
			t.Fatal(err)
		}
		near, far := net.Pipe()
		p := bench.New(sc, bench.Options{Seed: 5})
		done := make(chan error, 1)
		go func() { done <- p.Serve(context.Background(), far) }()
		first, took = talk(gcode.NewSession(gcodetest.Record(near, &file, "the bench of this project, seed 5", nil), gcode.Options{}))
		<-done
	})
	if len(first) < 10 || took < time.Second {
		t.Fatalf("%q in %v", first, took)
	}
	synctest.Test(t, func(t *testing.T) {
		d, err := gcodetest.Parse(bytes.NewReader(file.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		p := d.Play(true)
		again, took2 := talk(gcode.NewSession(p, gcode.Options{}))
		if err := p.Err(); err != nil {
			t.Error(err)
		}
		if strings.Join(again, "\n") != strings.Join(first, "\n") {
			t.Errorf("%q\nis not\n%q", again, first)
		}
		if d := took2 - took; d > time.Millisecond || d < -time.Millisecond {
			t.Errorf("took %v, recorded %v", took2, took)
		}
	})
}

func TestAnotherLineIsRefused(t *testing.T) {
	d, err := gcodetest.Parse(strings.NewReader("# from: written by hand\n0 > M115\n0.5 < NAME:x\n0.6 < ok\n1 > M114\n"))
	if err != nil {
		t.Fatal(err)
	}
	p := d.Play(false)
	defer p.Close()
	if _, err := p.Write([]byte("M115\n")); err != nil {
		t.Error(err)
	}
	b := make([]byte, 100)
	if n, _ := p.Read(b); string(b[:n]) != "NAME:x\nok\n" {
		t.Errorf("%q", b[:n])
	}
	if err := p.Err(); err == nil || !strings.Contains(err.Error(), "M114") {
		t.Errorf("not all was sent, but: %v", err)
	}
	if _, err := p.Write([]byte("M105\n")); err == nil || !strings.Contains(err.Error(), `it was "M114"`) {
		t.Error(err)
	}
}

// An unasked line that came as good as together with what was sent may be
// crossed; an answer may not be forestalled.
func TestCrossedLines(t *testing.T) {
	const said = "# from: written by hand\n0 > M105\n0.1 < ok\n1.999 < wait\n2.000 > M114\n2.100 < X:0 Y:0 Z:0\n2.200 < ok\n5 > M27\n"
	synctest.Test(t, func(t *testing.T) {
		d, err := gcodetest.Parse(strings.NewReader(said))
		if err != nil {
			t.Fatal(err)
		}
		p := d.Play(true)
		defer p.Close()
		send := func(text string) error { _, err := p.Write([]byte(text + "\n")); return err }
		b := make([]byte, 100)
		if err := send("M105"); err != nil {
			t.Fatal(err)
		}
		if n, _ := p.Read(b); string(b[:n]) != "ok\n" {
			t.Errorf("%q", b[:n])
		}
		time.Sleep(1800 * time.Millisecond)
		if err := send("M114"); err != nil {
			t.Errorf("crossed with the unasked line: %v", err)
		}
		time.Sleep(50 * time.Millisecond)
		if n, _ := p.Read(b); string(b[:n]) != "wait\n" {
			t.Errorf("%q", b[:n])
		}
		if err := send("M27"); err == nil || !strings.Contains(err.Error(), "was still to say") {
			t.Errorf("before the answer: %v", err)
		}
	})
}

func TestWhatIsNoDialogue(t *testing.T) {
	for _, text := range []string{
		"0 > M115\n", "# from: x\nM115\n", "# from: x\n0 M115\n", "# from: x\nNaN > M115\n", "# from: x\n0 > \"M115\n", "# recorded: today\n# from: x",
	} {
		if _, err := gcodetest.Parse(strings.NewReader(text)); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

// Any dialogue comes back as it was written.
func TestWrittenAndRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := gcodetest.Dialogue{From: "chance"}
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			d.Lines = append(d.Lines, gcodetest.Said{
				At:   time.Duration(rapid.IntRange(0, 1e9).Draw(t, "at")) * time.Microsecond,
				Dir:  rapid.SampledFrom([]gcodetest.Direction{gcodetest.Sent, gcodetest.Heard}).Draw(t, "dir"),
				Text: strings.ReplaceAll(string(rapid.SliceOf(rapid.Byte()).Draw(t, "text")), "\n", ""),
			})
		}
		var b bytes.Buffer
		if _, err := d.WriteTo(&b); err != nil {
			t.Fatal(err)
		}
		got, err := gcodetest.Parse(&b)
		if err != nil || len(got.Lines) != len(d.Lines) {
			t.Fatalf("%v: %v", err, got)
		}
		for i, s := range got.Lines {
			w := d.Lines[i]
			if s.Text != w.Text || s.Dir != w.Dir || (s.At-w.At).Abs() > time.Microsecond {
				t.Errorf("%+v is not %+v", s, w)
			}
		}
	})
}

// TestRecordingWithoutEnd: a printer that chatters without an end, or says a line
// without one, does not fill the memory of whoever records it; closing says so.
func TestRecordingWithoutEnd(t *testing.T) {
	for name, text := range map[string]string{"lines": strings.Repeat("echo:x\n", 1000), "a line": strings.Repeat("y", 7000)} {
		near, far := net.Pipe()
		var page bytes.Buffer
		r := gcodetest.Record(near, &page, "a test", nil)
		go func() {
			for range 2000 {
				if _, err := far.Write([]byte(text)); err != nil {
					return
				}
			}
			far.Close()
		}()
		if _, err := io.Copy(io.Discard, r); err != nil {
			t.Fatal(err)
		}
		if err := r.Close(); err == nil || !strings.Contains(err.Error(), "the rest is left out") || page.Len() > 16<<20 {
			t.Errorf("%s: %d bytes, %v", name, page.Len(), err)
		}
	}
}
