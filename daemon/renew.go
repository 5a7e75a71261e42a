package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"abbed/config"
)

// fixed are the settings that stand as long as the program runs: what was
// opened, bound or agreed on with them cannot be changed under way. A name
// stands for its group too.
var fixed = []string{
	"port", "baud", "dtr", "hold", "before", "after", "command_limit",
	"listen", "socket", "state", "access", "silence", "probe.style", "words",
}

// Renewable reports whether Renew takes over a setting while the program runs.
func Renewable(key string) bool {
	return !slices.ContainsFunc(fixed, func(f string) bool { return key == f || strings.HasPrefix(key, f+".") })
}

// ErrRunning says that settings cannot be renewed while a run or a correction
// is going on: it would end under others than it began with.
var ErrRunning = errors.New("daemon: a run or a correction is going on")

// Renewal is what became of new settings, by their keys.
type Renewal struct {
	// Taken are in force from now on, Waiting only after a restart.
	Taken, Waiting []string
}

// Renew takes over what may change while the program runs; s has been
// validated. What is measured from now on is measured and analysis.Judged by it; runs
// that are over keep the settings they were made with. It returns ErrRunning
// while a run or a correction is going on, and a *config.Error if what may
// change and what has to wait do not go together: then nothing is taken.
func (d *Daemon) Renew(s config.Settings) (Renewal, error) {
	defer d.Hold()()
	if d.engaged() {
		return Renewal{}, ErrRunning
	}
	var r Renewal
	mixed := d.owner()
	for _, key := range config.Changed(mixed, s) {
		if Renewable(key) {
			r.Taken = append(r.Taken, key)
		} else {
			r.Waiting = append(r.Waiting, key)
		}
	}
	mixed = config.Take(mixed, s, r.Taken)
	if faults := mixed.Validate(); len(faults) > 0 {
		return Renewal{Waiting: r.Waiting}, &config.Error{Faults: faults}
	}
	d.settings.Store(&mixed)
	d.keepSettings()
	d.changed()
	return r, nil
}

// SettingsReport is the report that holds what the owner has set, as JSON of the texts by
// key: it goes with the data to another machine.
const SettingsReport = "settings-given"

// keepSettings keeps what the owner has set with the data.
func (d *Daemon) keepSettings() {
	ctx := context.Background()
	b, err := json.Marshal(config.Texts(d.owner()))
	if was, _, e := d.store.Report(ctx, SettingsReport); err == nil && (e != nil || was != string(b)) {
		err = d.store.SaveReport(ctx, SettingsReport, string(b), time.Now())
	}
	if err != nil {
		d.log.Error("the settings cannot be kept with the data", "err", err)
	}
}

// engaged reports whether a run is not over, or a correction is being written.
func (d *Daemon) engaged() bool {
	return d.Busy() || d.Running()
}

// owner returns what the owner has set, as it is in force now.
func (d *Daemon) owner() config.Settings { return *d.settings.Load() }
