package printfile

import "fmt"

// What a line is, by what it begins with: words of RS-274/NGC, a command of the
// machine, a name of the machine's own, or none of these.

// words does a line that may be commands; done says that it was written.
func (r *rewriter) words(b, text []byte, i int) (done bool, err error) {
	if named(text, i) {
		r.own()
		return false, nil
	}
	switch c := upper(text[i]); c {
	case 'M':
		return false, r.machine(text, i)
	case 'G':
		if g, ok := first(text, i); ok && !read(g) {
			return false, r.foreign(g, text)
		}
	case '/':
		return false, r.refuse("the line may be left out by a switch of the machine (/)", "take the line out, or its /")
	case 'X', 'Y', 'Z', 'E', 'I', 'J', 'R', 'F', 'N', '(':
	default:
		return r.other(b, text, i)
	}
	if why := r.k.parse(text); why != "" {
		if c := upper(text[i]); c != 'G' && c != 'N' && len(r.k.g) == 0 {
			r.own() // a sentence of the machine's own
			return false, nil
		}
		return false, r.refuse(why, "write the line as letters with numbers, without line number and checksum")
	}
	return r.block(b, text)
}

// named says whether the line begins with a name and not with a word: two letters
// or a letter and an underscore.
func named(text []byte, i int) bool {
	if !letter(upper(text[i])) || i+1 >= len(text) {
		return false
	}
	return letter(upper(text[i+1])) || text[i+1] == '_'
}

// own counts a line whose meaning only the machine knows.
func (r *rewriter) own() {
	if r.sum.Own++; r.sum.FirstOwn == 0 {
		r.sum.FirstOwn = r.sum.Lines
	}
}

// other does a line that begins with a word which neither moves nor commands (T1,
// S255): words may stand in any order (RS-274/NGC 3.3.3), so that a command may
// follow.
func (r *rewriter) other(b, text []byte, i int) (done bool, err error) {
	c := upper(text[i])
	if why := r.k.parse(text); why != "" {
		r.own()
		return false, nil
	}
	switch k := &r.k; {
	case c == 'O' && !k.word('O').bare:
		return false, r.refuse("O begins a part that is run several times, or elsewhere", "slice the file without it")
	case len(k.g) > 0:
		return r.block(b, text)
	case k.has&axes != 0:
		return false, r.refuse(fmt.Sprintf("a place behind the word %c, which commands nothing", c), "begin the line with G0 or G1")
	}
	return false, r.modesBehind(r.k.m)
}

// odd refuses a command behind bytes that are no text (a mark of the encoding at
// the file's start, zeros of a damaged one): machines skip them, or do not.
func (r *rewriter) odd(text []byte, i int) error {
	from := i
	for i < len(text) && (text[i] < ' ' || text[i] > '~') {
		i++
	}
	if i == from || i == len(text) || !command(text[i]) || named(text, i) {
		return nil
	}
	if _, ok := first(text, i); ok || text[i] == '/' || text[i] == '(' {
		return r.refuse("bytes that are no text stand before a command", "take them out: machines differ in whether they then do it")
	}
	return nil
}

// first returns the code that the line begins with.
func first(text []byte, i int) (int, bool) {
	for i++; i < len(text) && blank(text[i]); i++ {
	}
	a, _, ok := scan(text, i)
	if !ok {
		return 0, false
	}
	return code(a)
}

// machine reads the M codes that matter.
func (r *rewriter) machine(text []byte, i int) error {
	m, ok := first(text, i)
	if !ok || speaks(m) {
		return nil
	}
	why := r.k.parse(text)
	switch k := &r.k; {
	case m == 820 || m == 830:
		if why != "" || len(k.g) > 0 || len(k.m) > 1 {
			return r.refuse("a mode of the extruder shares its line with something else", "give it a line of its own")
		}
		r.extruderMode(m == 830)
		return nil
	case m == 990:
		return r.refuse("M99 ends a part that is run several times, or elsewhere", "slice the file without it")
	case m == 980 || m == 320:
		r.lose(r.sum.Lines, "M", m) // what another file does is not seen
	case m == 4280 || m == 2060 && why == "" && k.has&(bit('X')|bit('Y')) != 0:
		return r.refuse(fmt.Sprintf("M%s changes the frame in which later words are read", name(m)), "slice the file without it")
	}
	if why != "" {
		return nil // a sentence or a name behind the code
	}
	return r.modesBehind(r.k.m[min(len(r.k.m), 1):])
}

// speaks says whether text stands behind the M code: for a person, or a file's name.
func speaks(m int) bool {
	switch m {
	case 0, 10, 230, 280, 300, 360, 1170, 1180, 9280:
		return true
	}
	return false
}

// modesBehind refuses G words, and the extruder's modes among the M codes ms,
// behind a line's first command: by RS-274/NGC they count, by common practice (one command a line) not.
func (r *rewriter) modesBehind(ms []int) error {
	if len(r.k.g) > 0 {
		return r.refuse("a G word stands behind another command", "give it a line of its own: machines differ in whether they do it")
	}
	for _, m := range ms {
		if m == 820 || m == 830 {
			return r.refuse("a mode of the extruder shares its line with something else", "give it a line of its own")
		}
	}
	return nil
}
