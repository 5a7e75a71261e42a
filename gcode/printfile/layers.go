package printfile

import (
	"bytes"
	"errors"
	"io"
)

// layers finds the first two layers of a file: the lowest height at which plastic is
// laid, and the lowest above it that is laid later (what is laid before the lowest
// primes the nozzle). A mistake by one layer costs Fade times its height: 4 um.
type layers struct {
	found         int
	first, second int64
}

// see takes note of a height at which plastic is laid; it reports whether both layers
// are known, since a third one begins.
func (l *layers) see(z int64) bool {
	switch {
	case l.found == 0 || z < l.first:
		l.first, l.found = z, 1
	case z > l.first && (l.found == 1 || z < l.second):
		l.second, l.found = z, 2
	case l.found == 2 && z > l.second:
		return true
	}
	return false
}

// full is the height of the second layer, mm; where there is none, twice that of the
// first.
func (l *layers) full() float64 {
	switch l.found {
	case 0:
		return 0
	case 1:
		return max(2*mm(l.first), 0)
	}
	return max(mm(l.second), 0)
}

var errEnough = errors.New("the first layers are known")

// mostAhead is how much of a file is read ahead, bytes: two layers of the largest beds
// take a few MB.
const mostAhead = 16 << 20

// flat is a correction of nothing.
type flat struct{}

func (flat) Add(float64, float64) float64                     { return 0 }
func (flat) Bulge(float64, float64, float64, float64) float64 { return 0 }
func (flat) Bounds() (float64, float64)                       { return 0, 0 }
func (flat) Outside(float64, float64) float64                 { return 0 }

// firstTwo returns up to which height the first two layers reach, mm, and a reader that
// gives the file from its beginning. What is wrong with a line is said when the file is
// rewritten.
func firstTwo(in io.Reader, o Options) (float64, io.Reader) {
	var ahead bytes.Buffer
	r := newRewriter(io.Discard, io.TeeReader(io.LimitReader(in, mostAhead), &ahead), flat{}, o)
	r.layers = &layers{}
	_ = r.all()
	return r.layers.full(), io.MultiReader(&ahead, in)
}
