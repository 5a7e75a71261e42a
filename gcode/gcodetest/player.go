package gcodetest

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"
)

// Player plays a dialogue back as a connection: it expects what was sent, and
// after each line says what was heard up to the next.
type Player struct {
	timed bool

	mu      sync.Mutex
	said    sync.Cond // something can be read, or it is closed
	left    []Said
	last    time.Duration // when the last line was said
	flushed int           // times that what was due was said early
	out     []byte        // to be read
	pending []byte        // written, without its end yet
	closed  bool
	err     error
	pause   *time.Timer // before what is due next
}

// Play returns a player. If timed, answers come as late as they did in the
// recording, by the clock of package time (which testing/synctest makes free).
func (d *Dialogue) Play(timed bool) *Player {
	p := &Player{timed: timed, left: d.Lines}
	p.said.L = &p.mu
	p.mu.Lock()
	defer p.mu.Unlock()
	p.answer()
	return p
}

// Read reads what the printer said. It waits until there is something, and ends
// with io.EOF when the player is closed.
func (p *Player) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.out) == 0 && !p.closed {
		p.said.Wait()
	}
	if len(p.out) == 0 {
		return 0, io.EOF
	}
	n := copy(b, p.out)
	p.out = p.out[n:]
	return n, nil
}

// Write takes lines to the printer. A line other than the recorded one is an
// error.
func (p *Player) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return 0, os.ErrClosed
	}
	p.pending = append(p.pending, b...)
	for {
		i := bytes.IndexByte(p.pending, '\n')
		if i < 0 {
			return len(b), p.err
		}
		p.take(string(p.pending[:i]))
		p.pending = p.pending[i+1:]
		if p.err != nil {
			return 0, p.err
		}
	}
}

// together is how near in time two lines of a recording are when it tells nothing
// which came first: unasked lines cross with what is sent.
const together = 20 * time.Millisecond

// take compares one line with the recording.
func (p *Player) take(text string) {
	p.cross()
	switch {
	case len(p.left) == 0:
		p.err = fmt.Errorf("gcodetest: play: %q was sent after the end of the recording", text)
	case p.left[0].Dir != Sent:
		p.err = fmt.Errorf("gcodetest: play: %q was sent while the printer was still to say %q", text, p.left[0].Text)
	case p.left[0].Text != text:
		p.err = fmt.Errorf("gcodetest: play: %q was sent; in the recording it was %q", text, p.left[0].Text)
	default:
		p.last = p.left[0].At
		p.left = p.left[1:]
		p.answer()
	}
}

// cross says at once what the printer said right before the next line was sent,
// and that line comes a little early now. p.mu is held.
func (p *Player) cross() {
	next := slices.IndexFunc(p.left, func(s Said) bool { return s.Dir == Sent })
	if next <= 0 || p.left[next].At-p.left[0].At > together {
		return
	}
	p.flushed++ // the pause before them is over
	for range next {
		p.say()
	}
}

// answer says the lines up to the next that was sent. p.mu is held.
func (p *Player) answer() {
	for len(p.left) > 0 && p.left[0].Dir == Heard {
		if wait := p.left[0].At - p.last; p.timed && wait > 0 {
			p.later(wait)
			return
		}
		p.say()
	}
}

// say puts one line where it can be read.
func (p *Player) say() {
	p.out = append(append(p.out, p.left[0].Text...), '\n')
	p.last = p.left[0].At
	p.left = p.left[1:]
	p.said.Broadcast()
}

// later goes on with the answer after a pause.
func (p *Player) later(wait time.Duration) {
	flushed := p.flushed
	p.pause = time.AfterFunc(wait, func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.flushed == flushed && !p.closed {
			p.say()
			p.answer()
		}
	})
}

// Close ends the playing.
func (p *Player) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.pause != nil {
		p.pause.Stop()
	}
	p.closed = true
	p.said.Broadcast()
	return nil
}

// Err returns what went otherwise than in the recording: a line that differed,
// or lines that were never sent.
func (p *Player) Err() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err != nil {
		return p.err
	}
	for _, s := range p.left {
		if s.Dir == Sent {
			return fmt.Errorf("gcodetest: play: %q was never sent", s.Text)
		}
	}
	return nil
}
