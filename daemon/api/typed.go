package api

import (
	"net/http"

	"abbed/analysis/typed"
)

// ReadPlaces reads places on the bed as a person types them, mm (typed.Places). What
// cannot be read is refused whole (422, "bad-value").
func ReadPlaces(text string) (places []XY, bad *Error) {
	read, err := typed.Places(text)
	if err != nil {
		return nil, Errorf(http.StatusUnprocessableEntity, "bad-value", typed.PlacesHint, "%v", err)
	}
	for _, p := range read {
		places = append(places, XY{X: p[0], Y: p[1]})
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
