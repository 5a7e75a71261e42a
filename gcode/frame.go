package gcode

import (
	"bytes"
	"fmt"
)

// damage is what a check is spoilt with on purpose: several bits, so that the
// line's own noise does not put it right.
const damage = 0x15

// appendFrame appends `N<number> <text>*<check>` and a newline to b; the check
// is the xor of all bytes before the star (common practice, no source). With
// number None it appends the text alone.
func appendFrame(b []byte, number int, text string) []byte {
	if number == None {
		return append(append(b, text...), '\n')
	}
	from := len(b)
	b = fmt.Appendf(b, "N%d %s", number, text)
	return fmt.Appendf(b, "*%d\n", xor(b[from:]))
}

func xor(b []byte) byte {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return x
}

// spoil puts another check on a framed line.
func spoil(b []byte, damage byte) []byte {
	star := bytes.LastIndexByte(b, '*')
	return fmt.Appendf(b[:star+1], "%d\n", xor(b[:star])^damage)
}

// kept is how many sent lines are kept to be sent again. One is in flight at a
// time, so the printer can ask for an older one only if an ok was mistaken for
// that line's answer; more than a few at once is a printer out of step.
const kept = 32

// history keeps the last lines by number. Only lines whose ok was taken may be
// sent again under a later one: a command that was reported as failed must not
// be done afterwards.
type history struct {
	text [kept]string
	num  [kept]int
	done [kept]bool
}

func (h *history) put(number int, text string) {
	i := number % kept
	h.text[i], h.num[i], h.done[i] = text, number, false
}

func (h *history) setDone(number int) {
	if number == None {
		return
	}
	if i := number % kept; h.num[i] == number {
		h.done[i] = true
	}
}

func (h *history) get(number int) string { return h.text[number%kept] }

// canReplay reports whether all lines from n up to and without the current one
// may be sent again.
func (h *history) canReplay(n, current int) bool {
	if n < 0 || n > current || n <= current-kept {
		return false
	}
	for ; n < current; n++ {
		if i := n % kept; h.num[i] != n || !h.done[i] {
			return false
		}
	}
	return true
}

// reset forgets all lines, before the counter starts anew.
func (h *history) reset() {
	*h = history{}
	for i := range h.num {
		h.num[i] = None
	}
}
