package bench

import (
	"strings"
	"time"

	"abbed/gcode/bench/wire"
)

// act lets a fault that strikes act at a command. done means that the command
// is not to be done, or not to be answered; the caller then returns err.
func (l *link) act(w wire.Word) (done bool, err error) {
	p := l.p
	name, length := p.strike(w.Code)
	if name != "" && name != faultChatter && name != faultNumber {
		p.hit(name)
	}
	switch name {
	case faultRestart:
		p.Restart()
		return true, errHalted
	case faultHalt:
		p.Halt()
		return true, errHalted
	case faultUnplug:
		p.Unplug()
		return true, errHalted
	case faultHalfOpen:
		l.dead.Store(true)
		return true, errHalted
	case faultMute, faultDeafen:
		p.fallSilent(name, length)
		return true, errHalted
	case faultSilence:
		return true, errHalted
	case faultLostOK:
		l.quiet = true
	case faultLateOK:
		l.quiet = true
		if length == 0 {
			length = lateOK
		}
		time.AfterFunc(p.real(length), func() { l.unasked("ok") }) // ends with the link at the latest
	case faultBusy:
		if length == 0 {
			length = busyLong
		}
		return false, l.hold(p.now() + length)
	case faultNumber:
		l.jump()
	case faultChatter:
		p.mu.Lock()
		lines := p.babble(100)
		p.mu.Unlock()
		l.unasked(lines...)
	case faultCRLF:
		p.mu.Lock()
		p.lineEnd = map[string]string{"\n": "\r\n", "\r\n": "\n"}[p.lineEnd]
		p.mu.Unlock()
	case faultLongLine:
		l.unasked("dump " + strings.Repeat("0123456789abcdef ", 620))
	case faultSlow:
		l.baud.Store(slowBaud)
	case faultRefuse:
		l.say(p.words.Refused(w))
		return true, nil
	}
	return false, nil
}

// jump sets the count of lines off, if lines are numbered.
func (l *link) jump() {
	if l.number < 0 {
		return
	}
	l.p.mu.Lock()
	defer l.p.mu.Unlock()
	l.p.lines.Last += 7
	l.p.struck[faultNumber]++
}

// babble is n lines that nobody asked for. The caller holds the lock.
func (p *Printer) babble(n int) []string {
	lines := make([]string, n)
	for i := range lines {
		switch (i + p.babbled) % 5 {
		case 0:
			lines[i] = " " + p.words.Temperatures(p.heaters, p.now())
		case 1:
			lines[i] = "echo:fan at 40 of 100"
		case 2:
			lines[i] = "// filament there"
		case 3:
			lines[i] = "wait"
		case 4:
			lines[i] = ""
		}
	}
	p.babbled += n
	return lines
}

// outgoing is what really goes on the wire for one line, piece by piece; pause
// is between pieces, virtual s.
func (p *Printer) outgoing(line string) (pieces []string, pause float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	end := p.lineEnd
	if p.use(faultGlued) {
		end = ""
	}
	line += end
	half := len(line) / 2
	pieces = []string{line}
	switch {
	case p.use(faultBitOut):
		b := []byte(line)
		b[half] ^= 1
		pieces = []string{string(b)}
	case p.use(faultByteOut):
		pieces = []string{line[:half] + line[min(half+1, len(line)):]}
	case p.use(faultTwiceOut):
		pieces = []string{line, line}
	case p.use(faultNULs):
		pieces = []string{"\x00\x00" + line[:half] + "\x00" + line[half:] + "\x00"}
	case p.use(faultSplit):
		third := len(line) / 3
		pieces, pause = []string{line[:third], line[third : 2*third], line[2*third:]}, 0.7
	case p.use(faultChatter):
		pieces = append([]string{strings.Join(p.babble(3), end) + end}, line)
	}
	return pieces, pause
}

// incoming is what really arrives of some bytes.
func (p *Printer) incoming(b []byte) []byte {
	if len(b) == 0 {
		return b
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.use(faultBitIn) {
		b[0] ^= 1
	}
	if p.use(faultByteIn) {
		half := len(b) / 2
		b = append(b[:half], b[half+1:]...)
	}
	return b
}

// received gives a line to the printer, twice if a fault wills it.
func (l *link) received(s string) {
	l.p.mu.Lock()
	twice := l.p.use(faultTwiceIn)
	l.p.mu.Unlock()
	l.line(s)
	if twice {
		l.line(s)
	}
}

// wait lets virtual seconds pass, or the connection end.
func (l *link) wait(s float64) {
	if s <= 0 {
		return
	}
	timer := time.NewTimer(l.p.real(s))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-l.ctx.Done():
	}
}

// pace waits for as long as n bytes take on the line: ten bits each (8N1).
func (l *link) pace(n int) {
	if baud := l.baud.Load(); baud > 0 {
		l.wait(float64(10*n) / float64(baud))
	}
}
