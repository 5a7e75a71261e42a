package printfile

import (
	"bytes"
	"fmt"
)

// What a line is: a move, something that changes how later lines are read, or
// something else, which passes to the byte.

// read does a line; done says that it was written, or refused.
func (r *rewriter) read(b []byte) (done bool) {
	text := bytes.TrimSuffix(bytes.TrimSuffix(b, []byte("\n")), []byte("\r"))
	if r.end = b[len(text):]; !bytes.HasSuffix(r.end, []byte("\n")) {
		r.end = r.eol
	}
	i := lead(text)
	if i == len(text) {
		return false
	}
	c := upper(text[i])
	switch {
	case c == ';':
		return r.twice(text[i:])
	case c == '/':
		return r.refuse("the line may be left out by a switch of the machine (/)", "take the line out, or its /")
	case c == '(' || named(text, i):
		return r.own()
	case !letter(c):
		return r.odd(text, i)
	}
	if c == 'M' {
		if m, ok := first(text, i); !ok || speaks(m) {
			return false
		}
	}
	if why := r.k.parse(text); why != "" {
		return r.sentence(text, i, why)
	}
	k := &r.k
	switch {
	case c == 'O' && k.bare&bit('O') == 0:
		return r.refuse("O begins a part that is run several times, or elsewhere", sliceOther)
	case len(k.g) > 0 && c != 'M':
		return r.block(b, text)
	case len(k.m) > 0:
		return r.machine()
	case k.has&(axes|arcWords|bit('E')) == 0:
		return false
	}
	return r.modal(b, text, c)
}

// lead returns where the first word stands that is no line number; comments before it
// count for nothing.
func lead(b []byte) int {
	for i := 0; i < len(b); {
		switch c := upper(b[i]); {
		case blank(c):
			i++
		case c == '(' && comment(b, i) > 0:
			i = comment(b, i)
		case c == 'N':
			_, end, ok := scan(b, skip(b, i+1))
			if !ok {
				return i
			}
			i = end
		default:
			return i
		}
	}
	return len(b)
}

// skip returns the first place from i on that is no blank.
func skip(b []byte, i int) int {
	for i < len(b) && blank(b[i]) {
		i++
	}
	return i
}

// named says whether the line begins with a name and not with a word: two letters
// or a letter and an underscore.
func named(text []byte, i int) bool {
	return letter(upper(text[i])) && i+1 < len(text) && (letter(upper(text[i+1])) || text[i+1] == '_')
}

// own counts a line whose meaning only the machine knows, and passes it.
func (r *rewriter) own() bool {
	if r.sum.Own++; r.sum.FirstOwn == 0 {
		r.sum.FirstOwn = r.sum.Lines
	}
	return false
}

// sentence does a line that begins as words do and goes on otherwise: a sentence or a
// name behind a command passes, what may be a damaged move does not.
func (r *rewriter) sentence(text []byte, i int, why string) bool {
	g, ok := first(text, i)
	switch c := upper(text[i]); {
	case c == 'M' && (g == 820 || g == 830):
		return r.refuse("a mode of the extruder on a line that cannot be read: "+why, ownLine)
	case c == 'M':
		return r.codes()
	case c == 'G' && ok && groupOf(g) == unread:
		return r.foreign(g)
	case c == 'G' || len(r.k.g) > 0 || bit(c)&(axes|arcWords|bit('E')) != 0 && ok:
		return r.refuse(why, "is the line whole? It must be letters with numbers")
	}
	return r.own()
}

// odd refuses a command behind bytes that are no text (a mark of the encoding at
// the file's start, zeros of a damaged one): machines skip them, or do not.
func (r *rewriter) odd(text []byte, i int) bool {
	from := i
	for i < len(text) && (text[i] < ' ' || text[i] > '~') {
		i++
	}
	if i == from || i == len(text) || !letter(upper(text[i])) && text[i] != '(' && text[i] != '/' || named(text, i) {
		return false
	}
	_, ok := first(text, i)
	return (ok || !letter(upper(text[i]))) && r.refuse("bytes that are no text stand before a command", "take them out: machines differ in whether they then do it")
}

// first returns the code of the word at i.
func first(text []byte, i int) (int, bool) {
	a, _, ok := scan(text, skip(text, i+1))
	if !ok {
		return 0, false
	}
	return code(a)
}

var (
	axes     = bit('X') | bit('Y') | bit('Z')
	arcWords = bit('I') | bit('J') | bit('R') | bit('K')
)

// modal does a line of places without a command: the last motion goes on.
func (r *rewriter) modal(b, text []byte, c byte) (done bool) {
	k := &r.k
	switch {
	case bit(c)&(axes|arcWords|bit('E')|bit('F')|bit('S')|bit('N')) == 0:
		return r.refuse(fmt.Sprintf("a place behind the word %c, which commands nothing", c), beginWithG)
	case k.has&axes == 0 && k.has&arcWords != 0, r.motion >= 2 && k.has&(bit('X')|bit('Y')) == 0:
		return r.refuse("an arc goes on without G, X and Y: some machines run a whole circle, others nothing", "begin the line with G2 or G3")
	case r.motion < 0 && k.has&axes != 0:
		return r.refuse("a place without a command", beginWithG)
	}
	return r.move(b, text, r.motion)
}

const (
	beginWithG = "begin the line with G0 or G1"
	eachALine  = "give each a line"
	ownLine    = "give it a line of its own"
	differ     = "give each a line: machines differ in whether they do both"
	sliceOther = "slice the file without it"
	sharesMode = "a mode of the extruder shares its line with something else"
	otherFrame = "%s changes the frame in which later words are read"
)

// block does a line with G words: one of each modal group (RS-274/NGC 3.4), in any
// order; modes hold before the line's move.
func (r *rewriter) block(b, text []byte) (done bool) {
	k := &r.k
	if k.before&bit('T') != 0 {
		return r.refuse("a G word stands behind T", differ)
	}
	motion, act, seen := -1, -1, 0
	for _, g := range k.g {
		of := groupOf(g)
		if of == unread {
			if len(k.g)+len(k.m) > 1 {
				return r.refuse(fmt.Sprintf("another command shares the line with G%s", name(g)), differ)
			}
			return r.foreign(g)
		}
		if seen&(1<<of) != 0 {
			return r.refuse(fmt.Sprintf("G%s and another of its modal group stand on one line", name(g)), eachALine)
		}
		seen |= 1 << of
		switch {
		case g == 800:
			r.motion = -1
		case of == motions:
			r.motion, motion = g/10, g/10
		case of == acts:
			act = g
		default:
			r.mode(g, r.o.Follow)
		}
	}
	if r.codes() {
		return true
	}
	switch moves := k.has&(axes|arcWords|bit('E')) != 0; {
	case act >= 0 && motion >= 0:
		return r.refuse("a move shares its line with another command", eachALine)
	case act >= 0:
		return r.command(act)
	case !moves:
		return false
	}
	for _, m := range k.m {
		if !turns(m) {
			return r.refuse(fmt.Sprintf("a move shares its line with M%s", name(m)), differ)
		}
	}
	if motion < 0 {
		return r.modal(b, text, 'N')
	}
	return r.move(b, text, motion)
}

// machine does a line whose command is an M word.
func (r *rewriter) machine() bool {
	k := &r.k
	switch {
	case len(k.g) > 0:
		return r.refuse("a G word stands behind another command", "give it a line of its own: machines differ in whether they do it")
	case k.before&(axes|arcWords|bit('E')) != 0, standard(k.m[0]) && k.has&axes != 0:
		return r.refuse(fmt.Sprintf("a place is on the line of M%s, and no G says that it moves", name(k.m[0])), beginWithG+", and give M a line of its own")
	}
	return r.codes()
}

// codes does the M words of the line that change how later lines are read.
func (r *rewriter) codes() bool {
	k := &r.k
	for _, m := range k.m {
		switch {
		case m == 820 || m == 830:
			if len(k.g) > 0 || len(k.m) > 1 || k.before != 0 {
				return r.refuse(sharesMode, ownLine)
			}
			r.extruderMode(m == 830)
		case m == 990 || m == 8080:
			return r.refuse(fmt.Sprintf("M%s belongs to a part that is run several times, or elsewhere", name(m)), sliceOther)
		case m == 980 || m == 320:
			r.lose("M", m) // what another file does is not seen
		case m == 4280 || m == 2060 && k.has&(bit('X')|bit('Y')) != 0:
			return r.refuse(fmt.Sprintf(otherFrame, "M"+name(m)), sliceOther)
		}
	}
	return false
}

// speaks says whether text stands behind the M code: for a person, or a file's name.
func speaks(m int) bool {
	switch m {
	case 0, 10, 230, 280, 300, 360, 1170, 1180, 9280:
		return true
	}
	return false
}

// standard says whether m is one of RS-274/NGC's own M codes, which take no places
// (its table 5; those behind which text stands are left out).
func standard(m int) bool { return m <= 90 || m == 480 || m == 490 || m == 600 }

// turns says whether m is one of spindle or coolant: a move may share its line.
func turns(m int) bool { return 30 <= m && m <= 90 && m != 60 }
