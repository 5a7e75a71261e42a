package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/daemon"
)

// renewer takes new settings over, and says when something has changed.
type renewer interface {
	Renew(config.Settings) (daemon.Renewal, error)
	Changed() <-chan struct{}
}

// reload reads the settings anew when it is asked to. They are read into fresh
// ones and checked first: what is wrong changes nothing.
type reload struct {
	load    func() (config.Settings, error)
	to      renewer
	level   *slog.LevelVar
	manager process.Manager
	status  string // what the service manager is told afterwards
	log     *slog.Logger
}

// listen reloads at each of asked until the context ends. While a run is going
// on, the newest settings wait for its end.
func (r reload) listen(ctx context.Context, asked <-chan os.Signal) {
	var waiting *config.Settings
	for {
		changed := r.to.Changed() // before looking, so that nothing is missed
		if waiting != nil && r.take(*waiting) {
			waiting = nil
		}
		if waiting == nil {
			changed = nil
		}
		select {
		case <-ctx.Done():
			return
		case <-changed:
		case <-asked:
			if s, ok := r.read(); ok {
				if waiting = &s; !r.take(s) {
					r.log.Warn("a run or a correction is going on: the new settings are taken when it has ended")
				} else {
					waiting = nil
				}
			}
		}
	}
}

// read reads and checks.
func (r reload) read() (config.Settings, bool) {
	r.manager.Reloading()
	defer r.manager.Ready(r.status)
	s, err := r.load()
	var wrong *config.Error
	switch {
	case errors.As(err, &wrong):
		for _, f := range wrong.Faults {
			r.log.Error("the settings were not reloaded, the old ones stay", "fault", f.String())
		}
	case err != nil:
		r.log.Error("the settings were not reloaded, the old ones stay", "err", err)
	}
	return s, err == nil
}

// take hands settings over; false: not now.
func (r reload) take(s config.Settings) bool {
	got, err := r.to.Renew(s)
	if errors.Is(err, daemon.ErrRunning) {
		return false
	}
	if err != nil {
		r.log.Error("the settings were not reloaded, the old ones stay; perhaps they hold together only with those that wait for a restart",
			"err", err, "waiting", strings.Join(got.Waiting, " "))
		return true
	}
	r.level.Set(process.Level(s.LogLevel))
	r.log.Info("settings reloaded", "changed", strings.Join(got.Taken, " "))
	if len(got.Waiting) > 0 {
		r.log.Warn("these settings have changed too, and are taken at the next start", "settings", strings.Join(got.Waiting, " "))
	}
	return true
}

// hangUps returns the signals that ask for a reload, and how to end that. On a
// terminal the same signal says that the terminal has gone, and ends the program
// in good order; where somebody had it ignored (nohup), it stays so.
func hangUps(ctx context.Context) (context.Context, <-chan os.Signal, func()) {
	if signal.Ignored(syscall.SIGHUP) {
		return ctx, nil, func() {}
	}
	if _, err := unix.IoctlGetTermios(int(os.Stdin.Fd()), unix.TCGETS); err == nil {
		ctx, stop := signal.NotifyContext(ctx, syscall.SIGHUP)
		return ctx, nil, stop
	}
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	return ctx, c, func() { signal.Stop(c) }
}
