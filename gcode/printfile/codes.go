package printfile

import "fmt"

// read says whether a G code's line is read as words.
func read(g int) bool {
	switch g {
	case 0, 10, 20, 30, 40, 100, 170, 180, 190, 200, 210, 280, 900, 910, 920:
		return true
	}
	return usual(g)
}

// usual says whether g is a mode of RS-274/NGC at the value that a desktop printer
// always has: planes of tools, path, cycles off, feed per minute, arcs' middles
// from their start. Several share a line, and a move may stand behind them.
func usual(g int) bool {
	switch g {
	case 400, 490, 540, 640, 800, 911, 940:
		return true
	}
	return false
}

// foreign deals with a G code that is not read: nothing, a refusal, or the place
// is lost.
func (r *rewriter) foreign(g int, text []byte) error {
	if why := r.k.parse(text); why == "" && (len(r.k.g) > 1 || len(r.k.m) > 0) {
		return r.refuse(fmt.Sprintf("another command shares the line with G%s", name(g)), "give each a line: machines differ in whether they do both")
	}
	switch g {
	case 110: // what was retracted comes back
		return nil
	case 530, 550, 560, 570, 580, 590, 591, 592, 593, 521, 430, 431, 510, 520, 680, 921, 922, 923:
		return r.refuse(fmt.Sprintf("G%s changes the frame in which later words are read", name(g)), "slice the file without it")
	case 901:
		return r.refuse("G90.1 makes the middles of arcs absolute", "slice the file without arcs")
	case 930, 950:
		return r.refuse(fmt.Sprintf("G%s changes what F means", name(g)), "slice the file without it")
	case 50, 51, 52, 330, 331, 410, 420, 730, 760, 810, 820, 830, 840, 850, 860, 870, 880, 890:
		return r.refuse(fmt.Sprintf("the path of G%s cannot be followed", name(g)), "slice the file without it")
	}
	r.lose(r.sum.Lines, "G", g) // homes, goes back to a kept place (G61; to RS-274/NGC a mode of the path), probes, parks, wipes: it ends where the file does not say
	return nil
}

func name(g int) string {
	if g%10 == 0 {
		return fmt.Sprint(g / 10)
	}
	return fmt.Sprintf("%d.%d", g/10, g%10)
}

// block does a line that was read as words.
func (r *rewriter) block(b, text []byte) (done bool, err error) {
	k := &r.k
	motion := -1
	other := 0
	for _, g := range k.g {
		switch {
		case g <= 30:
			if motion >= 0 {
				return false, r.refuse("two moves on one line", "give each a line")
			}
			motion = g / 10
		case r.mode(g, r.o.Follow) || usual(g):
		default:
			other++
			if other > 1 {
				return false, r.refuse("two commands on one line", "give each a line")
			}
			if err := r.command(g, text); err != nil {
				return false, err
			}
		}
	}
	for _, m := range k.m {
		if m == 820 || m == 830 {
			return false, r.refuse("a mode of the extruder shares its line with something else", "give it a line of its own")
		}
	}
	if other > 0 {
		if motion >= 0 {
			return false, r.refuse("a move shares its line with another command", "give each a line")
		}
		return false, nil
	}
	if motion < 0 {
		if motion = r.motion; motion < 0 && k.has&axes != 0 {
			return false, r.refuse("a place without a command", "begin the line with G0 or G1")
		}
	} else {
		r.motion = motion
	}
	if k.has&(axes|arcWords|bit('E')) == 0 {
		return false, nil
	}
	return r.move(b, text, motion)
}

var (
	axes     = bit('X') | bit('Y') | bit('Z')
	arcWords = bit('I') | bit('J') | bit('R') | bit('K')
)

// command does what is neither a move nor a mode.
func (r *rewriter) command(g int, text []byte) error {
	k := &r.k
	switch g {
	case 280:
		r.home(k)
		r.lost, r.lostBy, r.lostTo = r.sum.Lines, "G", g
	case 920:
		if k.has&(axes|bit('E')) == 0 {
			return r.refuse("G92 without a letter resets what the machine likes", "name the axes and their values")
		}
		for _, c := range "XYZE" {
			if k.with(byte(c)) && k.word(byte(c)).bare {
				return r.refuse("G92 with a letter without a number", "give the number")
			}
		}
		r.reset(k)
	case 100:
		if k.with('L') {
			return r.refuse("G10 with L changes the frame in which later words are read", "slice the file without it")
		}
	case 40:
	default:
		if !read(g) {
			return r.foreign(g, text)
		}
	}
	return nil
}
