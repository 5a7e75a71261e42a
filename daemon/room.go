package daemon

import (
	"time"

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
