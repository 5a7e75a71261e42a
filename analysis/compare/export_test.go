package compare

import "abbed/analysis/result"

// Difference and Rescaled are for the checks from outside.
var Difference = difference

// Rescaled compares two standard deviations.
func Rescaled(before, after result.Measured) *Change { return rescaled("", "", &before, &after) }
