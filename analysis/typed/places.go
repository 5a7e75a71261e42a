package typed

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Bounds of places that a person types: how many there may be, and how far from the
// bed's origin, mm.
const (
	mostPlaces    = 50
	farthestPlace = 2000
)

// PlacesHint says how places are typed.
const PlacesHint = "x,y in mm of each place with blanks between them: 30,30 205,30 117.5,205"

// Places reads places on the bed: x,y in mm, a point for decimals, with blanks between
// the places. No text is no place. What cannot be read is refused whole; the error is
// the cause, PlacesHint the remedy.
func Places(text string) ([][2]float64, error) {
	var out [][2]float64
	for pair := range strings.FieldsSeq(text) {
		if len(out) == mostPlaces {
			return nil, fmt.Errorf("more than %d places", mostPlaces)
		}
		x, y, _ := strings.Cut(pair, ",")
		u, badX := strconv.ParseFloat(x, 64)
		v, badY := strconv.ParseFloat(y, 64)
		if badX != nil || badY != nil || !(math.Abs(u) <= farthestPlace && math.Abs(v) <= farthestPlace) {
			return nil, fmt.Errorf("%.40q is no place x,y in mm", pair)
		}
		out = append(out, [2]float64{u, v})
	}
	return out, nil
}
