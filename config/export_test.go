package config

import "io"

// WriteExample writes a settings file with what an owner chooses, each key at its
// default.
func WriteExample(w io.Writer) error {
	lines, def := map[string]Line{}, Default()
	for _, f := range table {
		if !f.More {
			lines[f.Key] = Line{YAML: yamlValue(f.value(&def))}
		}
	}
	return WriteSettings(w, exampleHead, lines)
}

const exampleHead = "Settings of abbed, at their defaults. abbed help settings lists the rest. After a change: systemctl reload abbed@NAME."
