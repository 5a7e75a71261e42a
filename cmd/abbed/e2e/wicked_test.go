package e2e_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/daemon/api"
)

// mostWicked is what the process may hold at its worst, bytes. The unit allows 160 MB.
const mostWicked = 60 << 20

// TestWickedPrinter: whatever a printer says and however much, the process stays
// small, says what it gave up and what to do, and goes on answering.
func TestWickedPrinter(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("builds the program, and sends it hundreds of megabytes")
	}
	bin, row := program(t), strings.Repeat(" -0.123", 10000)
	many := func(n int, text func(i int) string) func(io.Writer) {
		return func(w io.Writer) {
			out := bufio.NewWriterSize(w, 1<<16)
			for i := range n {
				if _, err := out.WriteString(text(i)); err != nil {
					return
				}
			}
			_, _ = out.WriteString("ok\n")
			_ = out.Flush()
		}
	}
	for name, c := range map[string]struct {
		to     string
		answer func(io.Writer)
		says   string // what the page says then; "": the printer is ready
	}{
		"a reply without an end":   {"M503", many(1<<30, func(i int) string { return fmt.Sprintf("M92 X%d.00\n", i) }), "in answer to M503"},
		"12 MB of settings":        {"M503", many(300_000, func(i int) string { return fmt.Sprintf("echo:  M92 X80.00 Y80.00 Z%07d E93\n", i) }), "in answer to M503"},
		"3 MB of two-byte lines":   {"M503", many(1_500_000, func(int) string { return "y\n" }), "in answer to M503"},
		"a map of 10,000 x 10,000": {"M420", many(10_000, func(i int) string { return fmt.Sprintf("%d%s\n", i, row) }), "in answer to M420"},
		"a line without an end":    {"M503", many(100, func(int) string { return strings.Repeat("y", 1<<20) }), "nothing was heard for 10s"},
		"100 MB of chatter":        {"M105", many(2_500_000, func(i int) string { return fmt.Sprintf("echo:chatter that nobody wants %08d\n", i) }), "in answer to M105"},
		"chatter nobody asked for": {"", many(2_500_000, func(i int) string { return fmt.Sprintf("echo:chatter that nobody wants %08d\n", i) }), ""},
	} {
		t.Run(name, func(t *testing.T) {
			w := wicked(t, c.to, c.answer)
			d := startServe(t, w.port, memoryDir(t), lookup(t, "healthy"), bin, "serve")
			<-w.done
			var p api.Printer
			for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
				var err error
				if p, err = d.api.Printer(t.Context()); err != nil {
					t.Fatal(err)
				}
				if c.says == "" && p.Link == api.Ready || c.says != "" && strings.Contains(p.Sentence, c.says) {
					break
				}
			}
			if !strings.Contains(p.Sentence, c.says) || strings.Contains(c.says, "in answer to") != strings.Contains(p.Sentence, "words.templates") || (c.says == "") != (p.Link == api.Ready) {
				t.Errorf("%s: %.300q", p.Link, p.Sentence)
			}
			peak := peakOf(t, d.cmd)
			t.Logf("peak %.1f MB", float64(peak)/(1<<20))
			if peak > mostWicked {
				t.Errorf("more than %d MB", mostWicked>>20)
			}
		})
	}
}

// wickedPrinter answers as a printer does, but for one word.
type wickedPrinter struct {
	port string
	done chan struct{} // closed once it has said all that it wanted, or was cut off
}

// wicked listens as a printer that answers a word with answer; with "" it says that
// by itself, once it was asked for its map the second time, which is the last question.
func wicked(t *testing.T, word string, answer func(io.Writer)) *wickedPrinter {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wickedPrinter{port: "tcp://" + l.Addr().String(), done: make(chan struct{})}
	var once sync.Once
	var own sync.WaitGroup
	talk := func(c net.Conn) {
		defer c.Close()
		in, maps := bufio.NewScanner(c), 0
		for in.Scan() {
			asked := strings.Fields(in.Text() + " x")[0]
			if asked == word {
				answer(c)
				once.Do(func() { close(w.done) })
				continue
			}
			say := map[string]string{
				"M115": "MACHINE_TYPE:wicked PROTOCOL:1\n", "M503": "M851 X-44.00 Y-12.00 Z-1.50\n", "M851": "M851 X-44.00 Y-12.00 Z-1.50\n",
				"M211": "M211 S1 X0.00 Y0.00 Z0.00 X235.00 Y235.00 Z250.00\n", "M420": "0 1 2\n0 0.010 0.020 0.030\n1 0.010 0.020 0.030\n", "M105": "T:20.0 /0.0 B:20.0 /0.0\n",
			}[asked]
			if _, err := io.WriteString(c, say+"ok\n"); err != nil {
				return
			}
			if asked == "M420" {
				maps++
			}
			if word == "" && maps == 2 {
				answer(c)
				once.Do(func() { close(w.done) })
			}
		}
	}
	own.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			own.Go(func() { talk(c) })
		}
	})
	t.Cleanup(func() { _ = l.Close(); own.Wait() })
	return w
}
