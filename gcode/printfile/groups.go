package printfile

import "fmt"

// groups are the modal groups of RS-274/NGC (its table 4) as far as they are read; a
// line holds one G word of each. From the third mode on they hold the one value that a
// desktop printer always has.
var groups = [...][]int{
	acts:    {40, 100, 110, 280, 920}, // not modal
	motions: {0, 10, 20, 30, 800},
	3:       {170, 180, 190}, {900, 910}, {200, 210}, // planes, distances, units
	{911}, {940}, {400}, {490}, {540}, {640},
}

const (
	unread = iota // in none of them
	acts
	motions
)

var byCode = func() (of [1000]int) {
	for i, codes := range groups {
		for _, g := range codes {
			of[g] = i
		}
	}
	return of
}()

func groupOf(g int) int {
	if g >= len(byCode) {
		return unread
	}
	return byCode[g]
}

// foreign deals with a G code that is not read: a refusal, or the place is lost.
func (r *rewriter) foreign(g int) bool {
	switch g {
	case 70, 121, 160, 430, 431, 510, 511, 520, 521, 530, 541, 550, 560, 570, 580, 590, 591, 592, 593, 680, 921, 922, 923:
		return r.refuse(fmt.Sprintf(otherFrame, "G"+name(g)), sliceOther)
	case 901:
		return r.refuse("G90.1 makes the middles of arcs absolute", "slice the file without arcs")
	case 930, 950:
		return r.refuse(fmt.Sprintf("G%s changes what F means", name(g)), sliceOther)
	case 50, 51, 52, 330, 331, 410, 420, 730, 760, 810, 820, 830, 840, 850, 860, 870, 880, 890:
		return r.refuse(fmt.Sprintf("the path of G%s cannot be followed", name(g)), sliceOther)
	case 382, 383, 384, 385: // a motion: no other goes on behind it
		r.motion = -1
	}
	r.lose("G", g) // homes, goes back to a kept place (G61; to RS-274/NGC a mode of the path), probes, parks, wipes: it ends where the file does not say
	return false
}

func name(code int) string { return fmt.Sprint(float64(code) / 10) }

// command does what is neither a move nor a mode.
func (r *rewriter) command(g int) bool {
	k := &r.k
	switch {
	case g == 280:
		r.home(k)
		r.lost = r.here("G", g)
	case g == 920 && k.has&(axes|bit('E')) == 0:
		return r.refuse("G92 without a letter resets what the machine likes", "name the axes and their values")
	case g == 920 && k.bare&(axes|bit('E')) != 0:
		return r.refuse("G92 with a letter without a number", "give the number")
	case g == 920:
		r.reset(k)
	case g == 100 && k.with('L'):
		return r.refuse("G10 with L changes the frame in which later words are read", sliceOther)
	}
	return false
}
