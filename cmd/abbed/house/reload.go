package house

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

// Reload reads the settings anew when it is asked to. They are read into fresh
// ones and checked first: what is wrong changes nothing.
type Reload struct {
	Load    func() (config.Settings, error)
	To      renewer
	Level   *slog.LevelVar
	Manager process.Manager
	Status  string // what the service manager is told afterwards
	Log     *slog.Logger
}

// Listen reloads at each of asked until the context ends. While a run is going
// on, the newest settings wait for its end.
func (r Reload) Listen(ctx context.Context, asked <-chan os.Signal) {
	var waiting *config.Settings
	for {
		changed := r.To.Changed() // before looking, so that nothing is missed
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
					r.Log.Warn("a run or a correction is going on: the new settings are taken when it has ended")
				} else {
					waiting = nil
				}
			}
		}
	}
}

// read reads and checks.
func (r Reload) read() (config.Settings, bool) {
	r.Manager.Reloading()
	defer r.Manager.Ready(r.Status)
	s, err := r.Load()
	var wrong *config.Error
	switch {
	case errors.As(err, &wrong):
		for _, f := range wrong.Faults {
			r.Log.Error("the settings were not reloaded, the old ones stay", "fault", f.String())
		}
	case err != nil:
		r.Log.Error("the settings were not reloaded, the old ones stay", "err", err)
	}
	return s, err == nil
}

// take hands settings over; false: not now.
func (r Reload) take(s config.Settings) bool {
	got, err := r.To.Renew(s)
	if errors.Is(err, daemon.ErrRunning) {
		return false
	}
	if err != nil {
		r.Log.Error("the settings were not reloaded, the old ones stay; perhaps they hold together only with those that wait for a restart",
			"err", err, "waiting", strings.Join(got.Waiting, " "))
		return true
	}
	r.Level.Set(process.Level(s.LogLevel))
	r.Log.Info("settings reloaded", "changed", strings.Join(got.Taken, " "))
	if len(got.Waiting) > 0 {
		r.Log.Warn("these settings have changed too, and are taken at the next start", "settings", strings.Join(got.Waiting, " "))
	}
	return true
}

// HangUps returns the signals that ask for a reload, and how to end that. On a
// terminal the same signal says that the terminal has gone, and ends the program
// in good order; where somebody had it ignored (nohup), it stays so.
func HangUps(ctx context.Context) (context.Context, <-chan os.Signal, func()) {
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
