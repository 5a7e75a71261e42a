package port

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// Rates returns the rates that are worth trying when nobody knows the right
// one, the most frequent first (common practice, no source). Trying costs
// nothing but time: a wrong rate gives unreadable bytes.
func Rates() []int { return []int{115200, 250000, 500000, 57600, 1000000, 230400, 38400, 19200, 9600} }

// Level is what to do with a modem line.
type Level int

// Levels.
const (
	Leave Level = iota // as the kernel and the adapter have it
	High
	Low
)

// Spec says what to open.
type Spec struct {
	// Name is a device, a pseudo-terminal, a link to one of them, or
	// tcp://host:port.
	Name string
	// Baud is the rate; default 115200. Any that the adapter can do.
	Baud int
	// DTR and RTS are set after opening, on devices only. Leave is the default:
	// no pulse. Some boards stay mute with DTR low.
	DTR, RTS Level
}

// Sort is the way to the printer.
type Sort int

// Sorts.
const (
	Device   Sort = iota // a real device: opening it may reset the board
	Terminal             // a pseudo-terminal
	Network              // tcp://host:port
)

// String gives the name of the sort.
func (s Sort) String() string { return [...]string{"device", "terminal", "network"}[s] }

const tcpScheme = "tcp://"

// Kind tells what a name leads to. It opens nothing. What does not exist counts
// as a Device, since that is the sort with which the most care is taken.
func Kind(name string) Sort {
	if strings.HasPrefix(name, tcpScheme) {
		return Network
	}
	var st unix.Stat_t
	if unix.Stat(name, &st) == nil && st.Mode&unix.S_IFMT == unix.S_IFCHR && isPTS(uint64(st.Rdev)) {
		return Terminal
	}
	return Device
}

// isPTS knows the near side of a pseudo-terminal by its major number, 136 to
// 143 (Linux, Documentation/admin-guide/devices.txt; from memory).
func isPTS(rdev uint64) bool {
	m := unix.Major(rdev)
	return m >= 136 && m <= 143
}

// Stable returns the name under /dev/serial/by-id that leads to the same device
// and stays the same when the adapter is plugged in again; name itself if there
// is none, or if it is such a name: one of /dev/serial, or of /dev/abbed, where
// set-up has the owner's own.
func Stable(name string) string {
	if strings.HasPrefix(name, "/dev/serial/") || strings.HasPrefix(name, "/dev/abbed/") {
		return name
	}
	real, err := filepath.EvalSymlinks(name)
	if err != nil {
		return name
	}
	return cmp.Or(linkTo(links(byID), real), name)
}

// List returns the serial adapters that are plugged in, by their stable names.
// It opens none of them.
func List() []string {
	links, _ := filepath.Glob(byID + "/*")
	return links
}

// byID is where udev keeps the stable names.
var byID = "/dev/serial/by-id"

// Finder finds a device again that came back under another name after it was
// plugged in anew: it remembers the stable name that the device had when it was
// seen first. Not for concurrent use.
type Finder struct{ name, stable string }

// NewFinder returns a finder of the device with this name.
func NewFinder(name string) *Finder { return &Finder{name: name} }

// Find returns the name under which to open the device now.
func (f *Finder) Find() string {
	if Kind(f.name) == Network {
		return f.name
	}
	if f.stable == "" {
		if s := Stable(f.name); s != f.name {
			f.stable = s
		}
	}
	return cmp.Or(f.stable, f.name)
}

// OpenError is why a port could not be opened.
type OpenError struct {
	Device string
	Cause  error
	Hint   string
}

// Error says the act, then the cause.
func (e *OpenError) Error() string { return fmt.Sprintf("port: open %s: %v", e.Device, e.Cause) }

// Unwrap gives the cause.
func (e *OpenError) Unwrap() error { return e.Cause }

func explain(name string, err error) error {
	e := &OpenError{Device: name, Cause: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Hint = "Is the printer plugged in and switched on? " + plugged()
	case errors.Is(err, fs.ErrPermission):
		e.Hint = "This user may not open the device. Add it to the group that owns it (often dialout) and log in again."
	case errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.EIO), errors.Is(err, syscall.ENODEV):
		e.Hint = "The device is there but does not work: unplug it and plug it in again."
	default:
		e.Hint = "Is it a serial device, and can its adapter do this rate? Another rate is set with the port's settings."
	}
	return e
}

func plugged() string {
	if l := List(); len(l) > 0 {
		return "Plugged in: " + strings.Join(l, ", ")
	}
	return "No serial adapter is listed in /dev/serial/by-id."
}

// memoryMajor is the major number of /dev/null and its like (Linux,
// Documentation/admin-guide/devices.txt; from memory).
const memoryMajor = 1

// check looks at a name before it is opened.
func check(name string) error {
	if name == "" {
		return &OpenError{Device: "\"\"", Cause: errors.New("no name"), Hint: "Give a device, a pseudo-terminal or tcp://host:port."}
	}
	if addr, ok := strings.CutPrefix(name, tcpScheme); ok {
		if _, p, err := net.SplitHostPort(addr); err != nil || p == "" {
			return &OpenError{Device: name, Cause: errors.New("not a host and port"), Hint: "Write it as tcp://host:port."}
		}
		return nil
	}
	var st unix.Stat_t
	if err := unix.Stat(name, &st); err != nil {
		return explain(name, err)
	}
	if st.Mode&unix.S_IFMT != unix.S_IFCHR || unix.Major(uint64(st.Rdev)) == memoryMajor {
		return &OpenError{Device: name, Cause: errors.New("not a serial device"), Hint: "Give a device, a pseudo-terminal or tcp://host:port. " + plugged()}
	}
	return nil
}
