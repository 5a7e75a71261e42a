package printfile_test

import (
	"fmt"
	"math"
	"strings"

	"abbed/gcode/printfile"
)

// worst are the largest errors seen, mm: of Z at the ends, and along the way as a share
// of the tolerance; of the ends in X and Y, and of the way from the old one; of what was
// fed along the way (at the ends of the moves it is the same).
type worst struct{ endZ, z, endXY, xy, fed float64 }

func (w *worst) keep(at *float64, v float64) float64 {
	*at = math.Max(*at, math.Abs(v))
	return math.Abs(v)
}

// faded is the correction as it is to be: s in full up to full, then less by fade mm
// for each mm of height where it is largest, and in proportion elsewhere.
func faded(s printfile.Surface, full, fade float64) func([3]float64) float64 {
	largest, _ := s.Bounds()
	return func(p [3]float64) float64 {
		w := 1.0
		if above := p[2] - full; above > 0 && largest > 0 {
			w = math.Max(0, 1-above*fade/largest)
		}
		return w * s.Add(p[0], p[1])
	}
}

// compare holds the file after to the file before: each line without a move is the same
// to the byte and at its place; each move, known by the number in its comment, ends at
// the same place but for Z; Z is the old one with the correction, at the ends to the
// step of the written word and along the way within the tolerance; the way in X and Y
// and what was fed are the same.
func (w *worst) compare(before, after string, add func([3]float64) float64, tolerance float64) error {
	was, err := readNGC(before)
	if err != nil {
		return fmt.Errorf("before: %w", err)
	}
	_, after, _ = strings.Cut(after, "\n") // the header
	is, err := readNGC(after)
	if err != nil {
		return fmt.Errorf("after: %w", err)
	}
	if was.fed.Cmp(is.fed) != 0 {
		return fmt.Errorf("fed %v, before %v", is.fed.FloatString(12), was.fed.FloatString(12))
	}
	left := is.lines
	for n, a := range was.lines {
		if len(left) == 0 {
			return fmt.Errorf("line %d is missing", n+1)
		}
		if a.move == nil || !a.move.moves {
			if left[0].text != a.text {
				return fmt.Errorf("line %d is no move, and became %q", n+1, left[0].text)
			}
			left = left[1:]
			continue
		}
		var pieces []*stroke
		for done := false; !done; left = left[1:] {
			if len(left) == 0 || left[0].move == nil {
				return fmt.Errorf("line %d: pieces of the move are missing", n+1)
			}
			pieces, done = append(pieces, left[0].move), left[0].tag == a.tag
		}
		if err := w.same(a.move, pieces, add, tolerance); err != nil {
			return fmt.Errorf("line %d in %d pieces: %w: %s", n+1, len(pieces), err, a.text)
		}
	}
	if len(left) > 0 {
		return fmt.Errorf("%d lines too many", len(left))
	}
	return nil
}

func (w *worst) same(a *stroke, pieces []*stroke, add func([3]float64) float64, tolerance float64) error {
	last := pieces[len(pieces)-1]
	off := w.keep(&w.endXY, math.Hypot(float(less(last.to[0], a.to[0])), float(less(last.to[1], a.to[1]))))
	if off > 2e-8 { // an end that no word names is written to 1e-9 of the unit
		return fmt.Errorf("ends %g mm off", off)
	}
	if !a.known {
		return nil
	}
	end := a.at(1)
	if d := w.keep(&w.endZ, float(less(last.to[2], a.to[2]))-add(end)); d > 0.501e-4 {
		return fmt.Errorf("Z at the end is %.6f off", d)
	}
	long, fed := 0.0, rat("0")
	for _, p := range pieces {
		long += p.length()
		fed = sum(fed, p.fed)
	}
	if fed.Cmp(a.fed) != 0 {
		return fmt.Errorf("fed %v, before %v", fed.FloatString(12), a.fed.FloatString(12))
	}
	// Between the ends X and Y are written to 0.0001 mm: of a straight way that
	// costs nothing, of an arc's radius so much each piece.
	slack := 1e-7
	if a.sweep != 0 {
		slack = 2e-4 * float64(len(pieces)) * math.Max(1, math.Abs(a.sweep))
	}
	if math.Abs(long-a.length()) > slack {
		return fmt.Errorf("way in X and Y %.9f, before %.9f", long, a.length())
	}
	if a.length() < 0.011 {
		return nil
	}
	done, out := 0.0, 0.0
	for _, p := range pieces {
		for _, t := range []float64{0, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1} {
			here := p.at(t)
			was := a.at((done + t*p.length()) / long)
			if d := w.keep(&w.xy, math.Hypot(here[0]-was[0], here[1]-was[1])); d > 1e-4 {
				return fmt.Errorf("the way leaves the old one by %.5f mm at %v", d, here)
			}
			if d := w.keep(&w.z, (here[2]-was[2]-add(was))/tolerance); d > 1.002 {
				return fmt.Errorf("Z along the way is off by %.4f of the tolerance at %v", d, here)
			}
		}
		done += p.length()
		out += float(p.fed)
		if d := w.keep(&w.fed, out-float(a.fed)*done/long); d > 1e-5+1e-4*math.Abs(float(a.fed))/math.Max(long, 1e-3) {
			return fmt.Errorf("what is fed runs ahead by %g", d)
		}
	}
	return nil
}
