package api

import (
	"math"
	"net/http"
	"strconv"
	"strings"
)

// Bounds of places that a person types: how many there may be, and how far from the
// bed's origin, mm.
const (
	mostPlaces    = 50
	farthestPlace = 2000
)

// ReadPlaces reads places on the bed as a person types them: x,y in mm, a point for
// decimals, with blanks between the places. No text is no place. What cannot be read
// is refused whole (422, "bad-value").
func ReadPlaces(text string) (places []XY, bad *Error) {
	refuse := func(text string, args ...any) ([]XY, *Error) {
		return nil, Errorf(http.StatusUnprocessableEntity, "bad-value", "x,y in mm of each place with blanks between them: 30,30 205,30 117.5,205", text, args...)
	}
	for pair := range strings.FieldsSeq(text) {
		if len(places) == mostPlaces {
			return refuse("more than %d places", mostPlaces)
		}
		x, y, _ := strings.Cut(pair, ",")
		u, badX := strconv.ParseFloat(x, 64)
		v, badY := strconv.ParseFloat(y, 64)
		if badX != nil || badY != nil || !(math.Abs(u) <= farthestPlace && math.Abs(v) <= farthestPlace) {
			return refuse("%.40q is no place x,y in mm", pair)
		}
		places = append(places, XY{X: u, Y: v})
	}
	return places, nil
}

// Corrected says whether a correction was in force, as a person says it: none; map
// (it stands in the printer's map) or file (it was carried into the printed file).
// It is not ok where that is not said.
func Corrected(inForce string) (corrected, ok bool) {
	switch inForce {
	case "none":
		return false, true
	case "map", "file":
		return true, true
	}
	return false, false
}
