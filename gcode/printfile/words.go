package printfile

import (
	"bytes"
	"fmt"
)

// word is a letter with its number; from..to is the number's text.
type word struct {
	number
	from, to int
}

// mostWords on a line; RS-274/NGC has 26 letters and a few G and M words.
const mostWords = 48

// block is the words of one line.
type block struct {
	has     uint32 // letters present but G and M, a bit each
	bare    uint32 // those of them that stand alone, as in G28 X
	words   [26]word
	order   []byte            // letters in the order in which they stand; G and M among them
	spans   [mostWords][2]int // their places in the line
	g, m    []int             // codes times ten: G38.2 is 382
	before  uint32            // letters before the first G or M, N left out
	checked bool              // a checksum stands behind the words
}

func bit(c byte) uint32 { return 1 << (c - 'A') }

func (k *block) with(c byte) bool { return k.has&bit(c) != 0 }

func (k *block) word(c byte) *word { return &k.words[c-'A'] }

func upper(c byte) byte {
	if 'a' <= c && c <= 'z' {
		return c - 32
	}
	return c
}

func letter(c byte) bool { return 'A' <= c && c <= 'Z' }

func blank(c byte) bool { return c == ' ' || c == '\t' }

// parse reads the words of a line without its line end: letter and number,
// blanks between them as they like, `( )` and `;` comments (RS-274/NGC 3.3;
// numbers have no exponent, so that X1E5 are two words), and a checksum. It returns
// why the line is no row of words, or "".
func (k *block) parse(b []byte) (why string) {
	k.has, k.bare, k.before, k.order, k.g, k.m, k.checked = 0, 0, 0, k.order[:0], k.g[:0], k.m[:0], false
	for i := 0; i < len(b); {
		c := upper(b[i])
		switch {
		case blank(c):
			i++
			continue
		case c == ';':
			return ""
		case c == '(':
			if i = comment(b, i); i < 0 {
				return "a comment that begins with ( does not end"
			}
			continue
		case c == '*':
			return k.checksum(b, i)
		case !letter(c):
			return fmt.Sprintf("there is %+q where a letter is expected", b[i])
		}
		start := i
		i = skip(b, i+1)
		a, to, ok := scan(b, i)
		if !ok && to > i {
			return "the number after " + string(c) + " cannot be read"
		}
		if w := k.keep(c, a, !ok, start, i, to); w != "" {
			return w
		}
		if ok {
			i = to
		}
	}
	return ""
}

// comment returns what stands behind the ( ) comment that begins at i, -1 if it does
// not end.
func comment(b []byte, i int) int {
	if n := bytes.IndexByte(b[i:], ')'); n >= 0 {
		return i + n + 1
	}
	return -1
}

// checksum reads what stands from the * at i on: the exclusive or of all bytes before
// it (common practice, no source).
func (k *block) checksum(b []byte, i int) string {
	sum := byte(0)
	for _, c := range b[:i] {
		sum ^= c
	}
	a, end, ok := scan(b, i+1)
	end = skip(b, end)
	if !ok || a.d != 0 || a.n != int64(sum) || end < len(b) && b[end] != ';' {
		return "the checksum behind * is not that of the line"
	}
	k.checked = true
	return ""
}

func (k *block) keep(c byte, a number, bare bool, start, from, to int) string {
	if len(k.order) == mostWords {
		return "the line has too many words"
	}
	k.order = append(k.order, c)
	if bare {
		to = start + 1
	}
	k.spans[len(k.order)-1] = [2]int{start, to}
	if c == 'G' || c == 'M' {
		n, ok := code(a)
		if bare || !ok {
			return "the number after " + string(c) + " is none of a command"
		}
		if c == 'G' {
			k.g = append(k.g, n)
		} else {
			k.m = append(k.m, n)
		}
		return ""
	}
	if k.with(c) {
		return "the letter " + string(c) + " stands twice"
	}
	k.has |= bit(c)
	if len(k.g)+len(k.m) == 0 && c != 'N' {
		k.before |= bit(c)
	}
	if bare {
		k.bare |= bit(c)
	}
	*k.word(c) = word{a, from, to}
	return ""
}

// code returns ten times a command's number.
func code(a number) (int, bool) {
	a = a.at(1)
	tenth := int64(tens[max(a.d-1, 0)])
	return int(a.n / tenth), 0 <= a.n && a.n <= 1e6*tenth && a.n%tenth == 0
}
