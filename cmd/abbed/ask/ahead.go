package ask

import (
	"fmt"

	"abbed/config/say"
	"abbed/daemon/api"
)

// Ahead says how long the rest of a run takes, and how well it will know.
func Ahead(f api.Forecast) string {
	return fmt.Sprintf("%s in all. %s", say.Span(f.Left), f.Says)
}

// oneMore says where one more reading would help most.
func oneMore(m api.More) string {
	text := fmt.Sprintf("one more point would help most at %s", say.At(m.U, m.V))
	if m.Again {
		text += " (once more)"
	}
	if m.Now != nil && m.After != nil {
		text += fmt.Sprintf(". The nozzle error is then known to %s; now it is known to %s", say.PM(*m.After), say.PM(*m.Now))
	}
	return text + ". " + say.Sentence(m.Why)
}
