package printfile

import (
	"fmt"
	"math"
	"strings"
)

// Follow says whether G90 and G91 change the extruder's axis too: some machines
// do, some change it with M82 and M83 only.
type Follow int

// Answers to that. With Unsaid a file is refused where it matters.
const (
	Unsaid  Follow = iota
	Follows        // G91 makes E relative too, until the next M82
	Apart          // only M82 and M83 change E
)

// Options say how to carry a correction into a file.
type Options struct {
	// Full is up to which height above the bed the addition holds in full, mm;
	// Taper from which on nothing is added.
	Full, Taper float64
	// Tolerance is how far the nozzle may be from the tapered correction along a
	// move, mm. 0.005 is about two steps of a common Z screw; half of it cuts
	// bent moves about 1.4 times finer.
	Tolerance float64
	// Follow is about E under G90 and G91.
	Follow Follow
	// Note stands in the header: what correction this is. One line.
	Note string
}

// Defaults returns Options that suit a print of 0.2 mm layers.
func Defaults() Options { return Options{Full: 1, Taper: 10, Tolerance: 0.005} }

// steepestTaper is by how much the addition may change over the taper, mm per mm:
// a layer gets thinner or thicker by that part.
const steepestTaper = 0.1

// Check returns why a surface cannot be carried with these options, or nil.
func (o Options) Check(s Surface) error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	largest, slope := s.Bounds()
	switch {
	case !finite(o.Full) || !finite(o.Taper) || o.Full < 0 || o.Taper <= o.Full:
		return fmt.Errorf("printfile: taper from %g to %g mm: the end must lie above the beginning, and that not below the bed", o.Full, o.Taper)
	case !(o.Tolerance >= 0.0005) || !finite(o.Tolerance):
		return fmt.Errorf("printfile: tolerance %g mm: at least 0.0005 mm, since Z is written to 0.0001 mm", o.Tolerance)
	case !finite(largest) || !finite(slope):
		return fmt.Errorf("printfile: the correction has no finite bounds")
	case largest > steepestTaper*(o.Taper-o.Full):
		return fmt.Errorf("printfile: a correction of up to %.3f mm cannot taper to nothing between %g and %g mm without making layers thinner or thicker by more than %.0f %%: let it end at %.1f mm or above",
			largest, o.Full, o.Taper, 100*steepestTaper, o.Full+largest/steepestTaper)
	case strings.ContainsAny(o.Note, "\r\n"):
		return fmt.Errorf("printfile: the note for the header has more than one line")
	}
	return nil
}

// weight is the part of the addition that holds at height z.
func (o *Options) weight(z float64) float64 {
	return min(max((o.Taper-z)/(o.Taper-o.Full), 0), 1)
}

// Summary says what Rewrite did.
type Summary struct {
	Lines int64 `json:"lines"`
	// Moves are lines with a move, Changed those of them that were changed, Cut
	// those that were cut, Pieces what these became.
	Moves   int64 `json:"moves"`
	Changed int64 `json:"changed"`
	Cut     int64 `json:"cut"`
	Pieces  int64 `json:"pieces"`
	Arcs    int64 `json:"arcs"`
	// Untold are extruding moves in X or Y that were left as they are, since the
	// file had not said yet where the head is; First the first of these lines.
	Untold int64 `json:"untold"`
	First  int64 `json:"first_untold,omitempty"`
	// Outside are moves with plastic that end outside the correction's nodes, where
	// the nearest edge's addition holds; Farthest the largest distance, mm.
	Outside  int64   `json:"outside"`
	Farthest float64 `json:"farthest"`
	// Own are lines of words that only the machine knows, FirstOwn the first of
	// them: they were passed as they are, whatever they do.
	Own      int64 `json:"own"`
	FirstOwn int64 `json:"first_own,omitempty"`
	// Assumed is the first line with an extruding move that was cut though the file
	// had not said whether E is absolute: it was taken to be.
	Assumed int64 `json:"assumed_absolute,omitempty"`
	// Below are moves that now end below the height 0, Lowest the lowest end, mm:
	// a machine that limits its travel at 0 would not do them.
	Below  int64   `json:"below_zero"`
	Lowest float64 `json:"lowest"`
	// Least and Most are the smallest and largest addition in force, mm.
	Least float64 `json:"least_add"`
	Most  float64 `json:"most_add"`
}
