package daemon

import (
	"path"
	"strings"
	"time"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/room"
)

// Room lists the printers that are known to this machine.
func (d *Daemon) Room() ([]api.Neighbour, error) {
	all, err := room.List(d.owner().Room, time.Now())
	if err != nil {
		return nil, api.Errorf(500, "internal", "the setting room needs a directory that abbed may read", "list the printers of this machine: %v", err)
	}
	return all, nil
}

// NameOf is what the owner calls a printer, or the last part of its port; a pseudo-terminal
// has but a number, which changes.
func NameOf(s config.Settings) string {
	switch {
	case s.Name != "":
		return s.Name
	case strings.HasPrefix(s.Port, "/dev/pts/"):
		return "printer"
	}
	return path.Base(s.Port)
}
