package process

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// Manager is the service manager that started this program (sd_notify(3)). The
// zero value is none, and everything said to it is lost.
type Manager struct {
	// say tells it a state; nil: there is none.
	say func(state string)
	// every is how long it waits for a sign of life; 0: it wants none.
	every time.Duration
	log   *slog.Logger
}

// ServiceManager is the one of the environment.
func ServiceManager(log *slog.Logger) Manager {
	m := Manager{log: log}
	if sent, _ := daemon.SdNotify(false, "STATUS=starting"); !sent {
		return m
	}
	m.say = func(state string) {
		if _, err := daemon.SdNotify(false, state); err != nil {
			log.Warn("the service manager cannot be told", "state", state, "err", err)
		}
	}
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the service manager's watchdog is not understood; it gets no signs of life", "err", err)
	}
	m.every = every
	return m
}

func (m Manager) tell(state string) {
	if m.say != nil {
		m.say(state)
	}
}

// Ready says that the address is bound and served.
func (m Manager) Ready(status string) { m.tell(daemon.SdNotifyReady + "\nSTATUS=" + status) }

// Stopping says that the end has begun.
func (m Manager) Stopping() {
	m.tell(daemon.SdNotifyStopping + "\nSTATUS=ending what is going on: the nozzle is raised, switches are put back")
}

// Reloading says that the settings are being read anew; Ready has to follow.
func (m Manager) Reloading() {
	m.tell(daemon.SdNotifyReloading + "\n" + daemon.SdNotifyMonotonicUsec() + "STATUS=reading the settings")
}

// wait says that the start is put off, so that it is not taken for hung.
func (m Manager) wait(d time.Duration, why string) {
	m.tell(fmt.Sprintf("EXTEND_TIMEOUT_USEC=%d\nSTATUS=%s", (d + 30*time.Second).Microseconds(), why))
}

// Watch gives signs of life until the context ends: three in the time that the
// service manager waits, each only if alive returned since the one before. So a
// daemon that is stuck is ended and started anew.
func (m Manager) Watch(ctx context.Context, alive func()) {
	if m.say == nil || m.every <= 0 {
		return
	}
	tick := time.NewTicker(m.every / 3)
	defer tick.Stop()
	lives := make(chan struct{}, 1)
	look := func() { alive(); lives <- struct{}{} }
	go look() // ends with the daemon's locks, or with the program that watchdog ends
	stuck := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		select {
		case <-lives:
			m.tell(daemon.SdNotifyWatchdog)
			stuck = false
			go look()
		default:
			if !stuck {
				m.log.Error("the daemon does not come back from looking at itself; if this lasts, the service manager starts it again", "within", m.every)
			}
			stuck = true
		}
	}
}
