package main

import (
	"fmt"
	"math"

	"abbed/config/say"
	"abbed/daemon/api"
)

// ahead says how long the rest of a run takes, and how well it will know.
func ahead(f api.Forecast) string {
	return fmt.Sprintf("%.0f min in all: %s", math.Ceil(f.Left/60), f.Says)
}

// oneMore says where one more record at the blade would help most.
func oneMore(m api.More) string {
	text := fmt.Sprintf("one more place would help most at %.1f,%.1f", m.U, m.V)
	if m.Again {
		text += " (once more)"
	}
	if m.Now != nil && m.After != nil {
		text += fmt.Sprintf(", known to %s instead of %s", say.PM(*m.After), say.PM(*m.Now))
	}
	return text + "; " + m.Why
}
