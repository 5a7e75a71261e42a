package bench

import (
	"bytes"
	"context"
	"errors"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"abbed/gcode/bench/wire"
)

const (
	busyEvery  = 2.0  // virtual seconds between busy lines
	linesAhead = 1024 // lines held each way; more are lost, as in a small board
)

// cutOff ends the command that runs, since the machine halted or the connection
// ended: abort panics with it, and one recovers.
type cutOff struct{}

// link is one connection to a printer.
type link struct {
	p      *Printer
	rw     io.ReadWriter
	ctx    context.Context
	cancel context.CancelFunc
	in     chan string
	out    chan string
	halt   chan struct{} // of the command that runs
	spoke  float64       // virtual time of the last line of the command that runs
	number int           // of its frame, -1 for none
	quiet  bool          // its ok is lost
	tail   string        // what its ok carries besides
	own    Act           // what the machine does by itself in the command that runs
	lied   float64       // by how much the touch of this command is told too high
	dead   atomic.Bool   // bytes go nowhere
	baud   atomic.Int64  // the rate that is really kept, 0 for none
}

// Serve answers one connection until its reader ends, ctx is done, or the
// printer is unplugged; then it closes rw where that can be closed, and
// returns when all its goroutines have ended. nil for an orderly end. It may
// be called again: the machine keeps its state. An rw without Close has to
// end its Read by itself.
func (p *Printer) Serve(ctx context.Context, rw io.ReadWriter) error {
	ctx, cancel := context.WithCancel(ctx)
	l := &link{p: p, rw: rw, ctx: ctx, cancel: cancel, in: make(chan string, linesAhead), out: make(chan string, linesAhead), number: -1}
	l.baud.Store(int64(p.scenario.Baud))
	p.links.Store(l, true)
	if p.scenario.ResetOnOpen {
		p.Restart() // before anything is read: else what came first would be lost by chance
	}
	var wg sync.WaitGroup
	var readErr error
	ended := false // on our side, before the reader saw the end
	wg.Go(func() {
		readErr = l.read()
		ended = ctx.Err() != nil
		cancel()
	})
	wg.Go(l.write)
	wg.Go(func() { l.chatter(p.scenario.Chatter, p.gossip) })
	wg.Go(func() { l.chatter(p.scenario.Echoes, func() string { return "fan at 40 of 100" }) })
	wg.Go(func() { l.chatter(p.scenario.Waits, func() string { return "wait" }) })
	stop := context.AfterFunc(ctx, l.close)
	l.obey()
	p.links.Delete(l)
	if stop() {
		l.close()
	}
	wg.Wait()
	if errors.Is(readErr, io.EOF) || errors.Is(readErr, io.ErrClosedPipe) || ended {
		return nil
	}
	return readErr
}

func (l *link) close() {
	if c, ok := l.rw.(io.Closer); ok {
		c.Close()
	}
}

// read takes lines off the wire. A stop acts here, at once, whatever else runs.
func (l *link) read() error {
	var pending []byte
	buf := make([]byte, 4096)
	for {
		n, err := l.rw.Read(buf)
		l.pace(n)
		if l.dead.Load() {
			n = 0
		}
		pending = append(pending, l.p.incoming(buf[:n])...)
		for {
			i := bytes.IndexByte(pending, '\n')
			if i < 0 {
				break
			}
			l.received(string(pending[:i]))
			pending = pending[i+1:]
		}
		if len(pending) > 4*wire.MaxLine {
			pending = pending[:0]
		}
		if err != nil {
			return err
		}
	}
}

// received takes a line, twice if a fault wills it.
func (l *link) received(s string) {
	defer l.p.lock()()
	l.line(s)
	if l.p.use("twice-in") {
		l.line(s)
	}
}

func (l *link) line(s string) {
	if f := wire.ParseFrame(s); f.Damaged == "" {
		if words, err := wire.ParseWords(f.Body); err == nil && len(words) > 0 && words[0].Code == "M112" {
			if !l.p.deafened() {
				l.free(l.p.Halt)
			}
			return
		}
	}
	select {
	case l.in <- s:
	default:
	}
}

// forget loses the lines that wait, as a restart does.
func (l *link) forget() {
	for {
		select {
		case <-l.in:
		default:
			return
		}
	}
}

func (l *link) write() {
	for {
		select {
		case s := <-l.out:
			if err := l.put(s); err != nil {
				l.cancel()
				return
			}
		case <-l.ctx.Done():
			return
		}
	}
}

// put writes one line, with what goes wrong with it.
func (l *link) put(s string) error {
	if l.dead.Load() {
		return nil
	}
	pieces, pause := l.p.outgoing(s)
	for i, raw := range pieces {
		if i > 0 {
			l.wait(pause, nil)
		}
		l.pace(len(raw))
		if _, err := io.WriteString(l.rw, raw); err != nil {
			return err
		}
	}
	return nil
}

// say sends lines in answer to the command that runs.
func (l *link) say(lines ...string) {
	l.free(func() { l.unasked(lines...) })
	l.spoke = l.p.now()
}

// free does something without the lock, which the caller holds.
func (l *link) free(do func()) {
	l.p.mu.Unlock()
	defer l.p.mu.Lock()
	do()
}

// unasked sends lines that belong to no command.
func (l *link) unasked(lines ...string) {
	if l.p.muted() {
		return
	}
	for _, s := range lines {
		select {
		case l.out <- s:
		case <-l.ctx.Done():
			return
		}
	}
}

// chatter says an unasked line every so many virtual seconds, while the machine
// is not halted; never if every is 0.
func (l *link) chatter(every float64, line func() string) {
	if every <= 0 {
		return
	}
	tick := time.NewTicker(l.p.real(every))
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			l.p.mu.Lock()
			dead, text := l.p.halted, line()
			l.p.mu.Unlock()
			if !dead {
				l.unasked(text)
			}
		case <-l.ctx.Done():
			return
		}
	}
}

// gossip is what the printer tells of its temperatures unasked.
func (p *Printer) gossip() string {
	if p.scenario.ShortTemps {
		return p.words.Warmth(p.heaters, p.now())
	}
	return " " + p.temperatures()
}

func (l *link) obey() {
	for {
		select {
		case s := <-l.in:
			l.one(s)
		case <-l.ctx.Done():
			return
		}
	}
}

// one does one line and ends it with ok, unless the machine halts meanwhile.
func (l *link) one(s string) {
	p := l.p
	defer p.lock()()
	defer func() {
		if r := recover(); r != nil && r != (cutOff{}) {
			panic(r)
		}
	}()
	if p.halted || p.deafened() {
		return
	}
	l.halt, l.spoke, l.number, l.quiet, l.tail = p.halt, p.now(), -1, false, ""
	f := wire.Frame{Body: s}
	if !p.scenario.NoFraming {
		f = wire.ParseFrame(s)
	}
	storm := f.Framed && f.Damaged == "" && p.use("resend-storm")
	if storm {
		f.Damaged = "check wrong"
	}
	if why := p.lines.Take(f); why != "" {
		again := p.words.Resend(p.lines.Last + 1)
		l.say(p.words.Damaged(why, p.lines.Last), again)
		if storm {
			l.say(again, again)
		}
		l.say("ok")
		return
	}
	if f.Framed {
		l.number = f.Number
	}
	words, err := wire.ParseWords(f.Body)
	if err != nil {
		l.say(p.words.Say(wire.Unknown, f.Body))
	} else if len(words) == 0 && !f.Framed {
		return // an empty line is no command
	}
	for _, w := range words {
		l.do(w)
	}
	if !l.quiet && l.ctx.Err() == nil {
		l.say(p.words.Ok(l.number, l.tail, p.temperatures()))
	}
}

// hold waits until a virtual time, with busy lines.
func (l *link) hold(until float64) {
	for {
		now := l.p.now()
		rest, due := until-now, max(0, l.spoke+busyEvery-now)
		l.free(func() { l.wait(min(rest, due), l.halt) })
		l.alive()
		if rest <= 0 {
			return
		}
		if due < rest {
			l.say(l.p.words.Say(wire.Busy))
		}
	}
}

// alive ends the command that runs if the machine has halted, or restarted, or
// the connection ended.
func (l *link) alive() {
	select {
	case <-l.halt:
		l.abort()
	case <-l.ctx.Done():
		l.abort()
	default:
	}
}

func (l *link) abort() { panic(cutOff{}) }

// end ends the command that runs by something that takes the lock.
func (l *link) end(by func()) {
	l.free(by)
	l.abort()
}

// wait lets virtual seconds pass, or the connection end, or until is closed.
func (l *link) wait(s float64, until <-chan struct{}) {
	if s <= 0 {
		return
	}
	timer := time.NewTimer(l.p.real(s))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-until:
	case <-l.ctx.Done():
	}
}

// pace waits for as long as n bytes take on the line: ten bits each (8N1).
func (l *link) pace(n int) {
	if baud := l.baud.Load(); baud > 0 {
		l.wait(float64(10*n)/float64(baud), nil)
	}
}

func (p *Printer) temperatures() string { return p.words.Temperatures(p.heaters, p.now()) }
