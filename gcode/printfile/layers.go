package printfile

import (
	"bytes"
	"errors"
	"io"
)

// layers finds the first two layers of a file: the lowest height at which plastic is
// laid, and the lowest above it that is laid later (what is laid before the lowest
// primes the nozzle). A mistake by one layer costs Fade times its height: 4 um.
type layers struct{ first, second int64 } // beyond: not known

// see takes note of a height at which plastic is laid; it reports whether both layers
// are known, since a third one begins.
func (l *layers) see(z int64) bool {
	switch {
	case z < l.first:
		l.first, l.second = z, beyond
	case z > l.first && z < l.second:
		l.second = z
	}
	return z > l.second
}

// full is the height of the second layer, mm; where there is none, twice that of the
// first.
func (l *layers) full() float64 {
	switch {
	case l.first == beyond:
		return 0
	case l.second == beyond:
		l.second = 2 * l.first
	}
	return max(mm(l.second), 0)
}

var errEnough = errors.New("the first layers are known")

// mostAhead is how much of a file is read ahead, bytes: two layers of the largest beds
// take a few MB.
const mostAhead = 16 << 20

// firstTwo returns up to which height the first two layers reach, mm, and a reader that
// gives the file from its beginning. What is wrong with a line is said when the file is
// rewritten.
func firstTwo(in io.Reader, o Options) (float64, io.Reader) {
	var ahead bytes.Buffer
	nothing := &Grid{dx: 1, dy: 1, columns: 2, rows: 2, add: make([]float64, 4)}
	r := newRewriter(io.Discard, io.TeeReader(io.LimitReader(in, mostAhead), &ahead), nothing, o)
	r.layers = &layers{beyond, beyond}
	r.all()
	return r.layers.full(), io.MultiReader(&ahead, in)
}
