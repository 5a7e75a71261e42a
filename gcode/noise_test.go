package gcode_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"abbed/gcode"
)

// ledger is a printer's end that takes framed lines only in order, as design/3
// says, and writes down what it did. It shares no code with the session.
type ledger struct {
	noOK     bool // after a request to send again
	numbered bool // its oks carry the line number
	last     int
	done     []string
	damaged  int
}

func (p *ledger) one(line string) []string {
	if !strings.HasPrefix(line, "N") || !strings.Contains(line, "*") {
		if line == "M115" {
			return []string{"NAME:Ledger REV:1", "ok"}
		}
		if strings.ContainsAny(line, "N*") {
			return p.again("no check")
		}
		return []string{"echo:what is " + strconv.QuoteToASCII(line), "ok"}
	}
	star := strings.LastIndexByte(line, '*')
	sum := byte(0)
	for i := 0; i < star; i++ {
		sum ^= line[i]
	}
	check, err := strconv.Atoi(line[star+1:])
	if err != nil || check != int(sum) {
		p.damaged++
		return p.again("check wrong")
	}
	number, body, _ := strings.Cut(line[1:star], " ")
	n, err := strconv.Atoi(number)
	if err != nil {
		return p.again("no number")
	}
	if body == "M110 N0" {
		p.last = 0
		return []string{"ok"}
	}
	if n != p.last+1 {
		return p.again("not next")
	}
	p.last = n
	if body == "M115" {
		if p.numbered {
			return []string{"NAME:Ledger REV:1", fmt.Sprintf("ok N%d", n)}
		}
		return []string{"NAME:Ledger REV:1", "ok"}
	}
	p.done = append(p.done, body)
	ok := "ok"
	if p.numbered {
		ok = fmt.Sprintf("ok N%d P15 B3", n)
	}
	return []string{"value:" + strings.TrimPrefix(body, "M118 "), ok}
}

func (p *ledger) again(why string) []string {
	lines := []string{fmt.Sprintf("Error:%s, Last Line: %d", why, p.last), fmt.Sprintf("Resend: %d", p.last+1), "ok"}
	if p.noOK {
		return lines[:2]
	}
	return lines
}

// noisy corrupts 1 byte in every, both ways, once on is set.
type noisy struct {
	net.Conn
	r     *rand.Rand
	every int
	on    bool
}

func (n *noisy) spoil(b []byte) {
	for i := range b {
		if n.on && n.r.IntN(n.every) == 0 {
			b[i] ^= 1 << n.r.IntN(8)
		}
	}
}

func (n *noisy) serve(p *ledger) {
	var pending []byte
	buf := make([]byte, 4096)
	for {
		k, err := n.Read(buf)
		if err != nil {
			return
		}
		n.spoil(buf[:k])
		pending = append(pending, buf[:k]...)
		for {
			line, rest, found := strings.Cut(string(pending), "\n")
			if !found {
				break
			}
			pending = []byte(rest)
			if line == "" {
				continue
			}
			out := []byte(strings.Join(p.one(line), "\n") + "\n")
			n.spoil(out)
			if _, err := n.Write(out); err != nil {
				return
			}
		}
	}
}

// trace keeps the last lines, for a test that fails.
type trace struct {
	mu    sync.Mutex
	lines []string
}

func (t *trace) note(dir, line string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.lines = append(t.lines[max(0, len(t.lines)-24):], dir+line)
}

func (t *trace) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return strings.Join(t.lines, "\n")
}

// noiseSeeds is over how many bad lines each printer of TestExactlyOnceOverABadLine
// speaks.
var noiseSeeds = flag.Uint64("noise.seeds", 3, "over how many bad lines 100,000 commands go")

// Framed commands over a line that corrupts 1 byte in 1,000 both ways: each is
// done exactly once and in order. What the 8-bit check cannot see (a damaged
// line whose check agrees, about 1 in 200 at most) would show as a body that
// was never asked for; it is counted apart.
func TestExactlyOnceOverABadLine(t *testing.T) {
	for _, c := range []struct {
		name     string
		printer  ledger
		commands int
	}{
		{"usual", ledger{}, 100000},
		{"oks with numbers", ledger{numbered: true}, 20000},
		{"no ok after a request", ledger{noOK: true}, 20000},
	} {
		t.Run(c.name, func(t *testing.T) {
			if testing.Short() {
				c.commands = 5000
			}
			for seed := range *noiseSeeds {
				p := c.printer
				badLine(t, &p, c.commands, uint64(1+seed))
			}
		})
	}
}

func badLine(t *testing.T, p *ledger, commands int, seed uint64) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		defer far.Close()
		var tail trace
		n := &noisy{Conn: far, r: rand.New(rand.NewPCG(seed, 2)), every: 1000}
		go n.serve(p)
		s := gcode.NewSession(near, gcode.Options{Log: tail.note})
		defer s.Close()
		if err := s.Greet(context.Background()); err != nil || !s.Framed() {
			t.Fatalf("greet: %v, framed %v", err, s.Framed())
		}
		p.done, n.on = nil, true
		wrong := 0
		for i := range commands {
			want := fmt.Sprintf("value:%d", i)
			has := gcode.Needs(func(lines []gcode.Line) bool {
				for _, l := range lines {
					if strings.HasPrefix(l.Text, "value:") {
						return true
					}
				}
				return false
			})
			var r gcode.Reply
			var err error
			if i%2 == 0 {
				r, err = s.Move(context.Background(), gcode.NewMotion(fmt.Sprintf("M118 %d", i), has))
			} else {
				r, err = s.Move(context.Background(), gcode.NewMotion(fmt.Sprintf("M118 %d", i)))
			}
			if errors.Is(err, gcode.ErrReplyLost) {
				continue // it was done
			}
			if err != nil {
				t.Fatalf("command %d: %v; %+v\n%s", i, err, s.Counts(), &tail)
			}
			for _, l := range r.Lines {
				if strings.HasPrefix(l.Text, "value:") && l.Text != want {
					wrong++
				}
			}
		}
		checkLedger(t, p, commands)
		c := s.Counts()
		t.Logf("%d damaged lines seen by the printer, %d values spoilt on the way back, %+v", p.damaged, wrong, c)
		if c.Resends < 60 || c.Silences < 8 {
			t.Errorf("too little happened for this test to mean anything: %+v", c)
		}
	})
}

func checkLedger(t *testing.T, p *ledger, commands int) {
	t.Helper()
	seen := make(map[string]int)
	before, unseen := -1, 0
	for _, body := range p.done {
		n, err := strconv.Atoi(strings.TrimPrefix(body, "M118 "))
		if err != nil || n != before+1 {
			unseen++
		} else {
			before = n
			continue
		}
		before++
		seen[body]++
	}
	if len(p.done) != commands {
		t.Errorf("%d commands done, %d sent", len(p.done), commands)
	}
	if limit := 1 + p.damaged/200; unseen > limit {
		t.Errorf("%d commands done otherwise than sent, at most %d damaged lines may pass the check; %v", unseen, limit, seen)
	}
}

var _ io.ReadWriteCloser = (*noisy)(nil)
