package port

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unsafe"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// Real times.
const (
	dialTimeout = 10 * time.Second
	keepAlive   = 15 * time.Second
)

// DefaultBaud is the rate if none is given.
const DefaultBaud = 115200

// Open opens what spec says, exclusively. Opening a Device may reset the
// printer's board, and with it end a print: ask the person first.
func Open(ctx context.Context, spec Spec) (*Port, error) {
	if spec.Baud == 0 {
		spec.Baud = DefaultBaud
	}
	if spec.Baud < 0 {
		return nil, &OpenError{Device: spec.Name, Cause: fmt.Errorf("rate %d", spec.Baud), Hint: "Give a rate such as 115200 or 250000."}
	}
	if err := check(spec.Name); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, &OpenError{Device: spec.Name, Cause: err}
	}
	if Kind(spec.Name) == Network {
		return dial(ctx, spec)
	}
	return openDevice(spec)
}

func dial(ctx context.Context, spec Spec) (*Port, error) {
	d := net.Dialer{Timeout: dialTimeout, KeepAlive: keepAlive}
	c, err := d.DialContext(ctx, "tcp", strings.TrimPrefix(spec.Name, tcpScheme))
	if err != nil {
		return nil, &OpenError{Device: spec.Name, Cause: err, Hint: "Is the serial server running, and is no one else connected to it?"}
	}
	return &Port{name: spec.Name, sort: Network, line: c, close: c.Close}, nil
}

func openDevice(spec Spec) (*Port, error) {
	sort := Kind(spec.Name)
	if sort == Device { // the bench keeps its pseudo-terminal open itself
		if o := others(spec.Name); len(o) > 0 {
			return nil, taken(spec.Name, o)
		}
	}
	guard, err := openGuard(spec.Name, sort)
	if err != nil {
		return nil, err
	}
	p, err := openSerial(spec, sort, guard)
	if err != nil {
		guard.Close()
		return nil, err
	}
	return p, nil
}

// openGuard opens and locks the device and takes care that closing it will not
// drop DTR.
func openGuard(name string, sort Sort) (*os.File, error) {
	guard, err := os.OpenFile(name, os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if errors.Is(err, syscall.EBUSY) {
		return nil, taken(name, others(name))
	}
	if err != nil {
		return nil, explain(name, err)
	}
	err = control(guard, func(fd int) error {
		if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
			return err
		}
		return keepDTR(fd)
	})
	switch {
	case errors.Is(err, syscall.EWOULDBLOCK):
		guard.Close()
		return nil, taken(name, lockers(name))
	case err != nil:
		guard.Close()
		return nil, explain(name, err)
	}
	if sort == Device {
		_ = control(guard, lowLatency) // not every adapter has it
	}
	return guard, nil
}

// lockers are those who may hold the lock: others first, else ourselves, if the
// device was open here before the guard that failed.
func lockers(name string) []Holder {
	if o := others(name); len(o) > 0 {
		return o
	}
	return Holders(name)
}

func control(f *os.File, do func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) { inner = do(int(fd)) }); err != nil {
		return err
	}
	return inner
}

// keepDTR clears HUPCL: the last close shall not drop DTR.
func keepDTR(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	if t.Cflag&unix.HUPCL == 0 {
		return nil
	}
	t.Cflag &^= unix.HUPCL
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}

// lowLatency asks the driver not to hold bytes back (16 ms on some adapters).
// Of struct serial_struct (linux/serial.h, from memory) only flags is touched,
// the fifth int.
func lowLatency(fd int) error {
	const flags, asyncLowLatency = 4, 1 << 13
	var b [32]int32
	for _, act := range [...]uintptr{unix.TIOCGSERIAL, unix.TIOCSSERIAL} {
		if _, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), act, uintptr(unsafe.Pointer(&b))); e != 0 {
			return e
		}
		b[flags] |= asyncLowLatency
	}
	return nil
}

func discardOutput(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCOFLUSH) }

// openSerial opens the device again through the library, for its mode.
func openSerial(spec Spec, sort Sort, guard *os.File) (*Port, error) {
	lib, err := openUninherited(spec)
	if err != nil {
		var pe *serial.PortError
		if errors.As(err, &pe) && pe.Code() == serial.PortBusy {
			return nil, taken(spec.Name, others(spec.Name))
		}
		return nil, explain(spec.Name, fmt.Errorf("rate %d: %w", spec.Baud, err))
	}
	if err := prepare(lib, spec, sort, guard); err != nil {
		lib.Close()
		return nil, explain(spec.Name, err)
	}
	return &Port{name: spec.Name, sort: sort, line: guard,
		close: func() error {
			_ = guard.SetWriteDeadline(time.Now())
			return errors.Join(lib.Close(), guard.Close())
		},
		discard: func() error { return control(guard, discardOutput) },
	}, nil
}

// prepare sets what is set once.
func prepare(lib serial.Port, spec Spec, sort Sort, guard *os.File) error {
	if sort == Terminal {
		// The library's TIOCEXCL would outlive a kill -9 while the far side
		// keeps the terminal; the lock does not.
		return control(guard, func(fd int) error { return unix.IoctlSetInt(fd, unix.TIOCNXCL, 0) })
	}
	if spec.DTR != Leave {
		if err := lib.SetDTR(spec.DTR == High); err != nil {
			return fmt.Errorf("set DTR: %w", err)
		}
	}
	if spec.RTS != Leave {
		if err := lib.SetRTS(spec.RTS == High); err != nil {
			return fmt.Errorf("set RTS: %w", err)
		}
	}
	return nil
}

// openUninherited opens through the library, which forgets close-on-exec, and
// makes up for it before any child can be started.
func openUninherited(spec Spec) (serial.Port, error) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	lib, err := serial.Open(spec.Name, &serial.Mode{BaudRate: spec.Baud, DataBits: 8})
	if err != nil {
		return nil, err
	}
	uninherit(spec.Name)
	return lib, nil
}

// uninherit sets close-on-exec on all our descriptors of the device.
func uninherit(name string) {
	var want unix.Stat_t
	if unix.Stat(name, &want) != nil {
		return
	}
	fds, _ := os.ReadDir("/proc/self/fd")
	for _, e := range fds {
		fd, err := strconv.Atoi(e.Name())
		if err == nil && sameDevice("/proc/self/fd/"+e.Name(), &want) {
			unix.CloseOnExec(fd)
		}
	}
}
