package console

import (
	"os"
	"path/filepath"
	"regexp"

	"abbed/config"
)

// Instance is what a printer may be called: a part of file names, of a unit and
// of a link.
var Instance = regexp.MustCompile(`^[a-z0-9][a-z0-9_]{0,30}$`)

// SettingsDir is where the settings files are.
func SettingsDir(system bool) string {
	if system {
		return "/etc/abbed"
	}
	if d, err := os.UserConfigDir(); err == nil {
		return filepath.Join(d, "abbed")
	}
	return "."
}

// StateOf is where the data of a printer is kept.
func StateOf(name string, system bool) string {
	if system {
		return filepath.Join("/var/lib/abbed", name)
	}
	return filepath.Join(config.StateDir(os.Environ()), name)
}

// CarriedName is the file beside imported data that holds the settings which came along:
// set-up takes them over.
const CarriedName = "settings.yaml"
