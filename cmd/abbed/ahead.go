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

// oneMore says where one more reading would help most.
func oneMore(m api.More) string {
	text := fmt.Sprintf("one more point would help most at %s", say.At(m.U, m.V))
	if m.Again {
		text += " (once more)"
	}
	if m.Now != nil && m.After != nil {
		text += fmt.Sprintf(": the nozzle error is then known to %s, and not to %s", say.PM(*m.After), say.PM(*m.Now))
	}
	return text + "; " + m.Why
}
