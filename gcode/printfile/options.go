package printfile

import (
	"fmt"
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
	// Full is up to which height above the bed the addition holds in full, mm; 0:
	// over the first two layers, as they are found in the file.
	Full float64
	// Fade is how fast the largest addition ends above Full, mm per mm of height: by
	// this share a layer becomes thicker or thinner than what is extruded for it.
	// 0.02: filament of 1.75 mm that is good to 0.02 mm varies by 2.3 % itself
	// (common practice, no source). Half of it ends twice as high.
	Fade float64
	// Tolerance is how far the nozzle may be from the faded correction along a
	// move, mm. 0.005 is about two steps of a common Z screw; half of it cuts
	// bent moves about 1.4 times finer.
	Tolerance float64
	// Follow is about E under G90 and G91.
	Follow Follow
	// Note stands in the header: what correction this is. One line.
	Note string
}

// Defaults returns what suits a print with one nozzle of common size.
func Defaults() Options { return Options{Fade: 0.02, Tolerance: 0.005} }

// Check returns why a surface cannot be carried with these options, or nil.
func (o Options) Check(s Surface) error {
	largest, slope := s.Bounds()
	switch {
	case !(o.Full >= 0 && o.Full <= farthest):
		return fmt.Errorf("printfile: the correction is to hold in full up to %g mm: give a height above the bed, or 0 for the first two layers", o.Full)
	case !(o.Fade > 0 && o.Fade < 1):
		return fmt.Errorf("printfile: the correction is to end by %g mm per mm of height: give the share, below 1, by which a layer may become thicker or thinner", o.Fade)
	case !(o.Tolerance >= 0.0005 && o.Tolerance <= farthest):
		return fmt.Errorf("printfile: tolerance %g mm: give at least 0.0005 mm, since Z is written to 0.0001 mm", o.Tolerance)
	case !(largest <= farthest && slope <= farthest):
		return fmt.Errorf("printfile: the correction has no finite bounds")
	case strings.ContainsAny(o.Note, "\r\n"):
		return fmt.Errorf("printfile: the note for the header has more than one line")
	}
	return nil
}

// Summary says what Rewrite did.
type Summary struct {
	Lines int64 `json:"lines"`
	// Full is up to which height the addition held in full, End from which on nothing
	// was added, mm.
	Full float64 `json:"full"`
	End  float64 `json:"end"`
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
