package known

import (
	"fmt"

	"abbed/config"
	"abbed/gcode/dialect"
)

// Words returns the dialect of the settings: the default for the style of
// probing, with the owner's words over it.
func Words(s config.Settings) (*dialect.Dialect, error) {
	w := dialect.Default()
	if s.Probe.Style == config.StyleStraight {
		w = dialect.Straight()
	}
	for k, v := range s.Words.Templates {
		w.Templates[k] = v
	}
	for k, v := range s.Words.Patterns {
		w.Patterns[k] = v
	}
	d, err := dialect.New(w)
	if err != nil {
		return nil, fmt.Errorf("known: words of the settings: %w", err)
	}
	return d, nil
}
