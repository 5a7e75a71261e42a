package port

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"

	"abbed/config/outside"
)

// Holder is a process that has a device open. PID is 0 if it is not known.
type Holder struct {
	PID  int
	Name string
}

// String names the process.
func (h Holder) String() string {
	if h.PID == 0 {
		return "another program"
	}
	return fmt.Sprintf("%s (process %d)", h.Name, h.PID)
}

// TakenError says that another program has the device.
type TakenError struct {
	Device string
	Holder Holder
	Hint   string
}

// Error says the act, then the cause.
func (e *TakenError) Error() string {
	return fmt.Sprintf("port: open %s: taken by %s", e.Device, e.Holder)
}

func taken(name string, holders []Holder) *TakenError {
	e := &TakenError{Device: name, Hint: "Let the other program disconnect from the printer, or end it, and try again."}
	if len(holders) > 0 {
		e.Holder = holders[0]
	}
	if e.Holder.PID == os.Getpid() {
		e.Hint = "This program has it open already."
	}
	if e.Holder.PID == 0 {
		e.Hint += " Only the administrator can see which program it is."
	}
	return e
}

// Holders returns the processes that have the device open, this one included.
// Other users' processes are seen by the administrator only.
func Holders(dev string) []Holder {
	var want unix.Stat_t
	if unix.Stat(dev, &want) != nil || want.Mode&unix.S_IFMT != unix.S_IFCHR {
		return nil
	}
	procs, _ := filepath.Glob("/proc/[0-9]*")
	var found []Holder
	for _, p := range procs {
		if holds(p, &want) {
			pid, _ := strconv.Atoi(filepath.Base(p))
			comm, _ := os.ReadFile(p + "/comm")
			found = append(found, Holder{PID: pid, Name: outside.Text(strings.TrimSpace(string(comm)))})
		}
	}
	return found
}

// holds looks whether a descriptor of the process leads to the device.
func holds(proc string, want *unix.Stat_t) bool {
	fds, _ := os.ReadDir(proc + "/fd")
	return slices.ContainsFunc(fds, func(fd os.DirEntry) bool { return sameDevice(proc+"/fd/"+fd.Name(), want) })
}

// sameDevice compares by device number. The link is looked at first, since
// looking at what it leads to can wait for a network file system.
func sameDevice(link string, want *unix.Stat_t) bool {
	to, err := os.Readlink(link)
	if err != nil || !strings.HasPrefix(to, "/dev/") {
		return false
	}
	var st unix.Stat_t
	return unix.Stat(link, &st) == nil && st.Mode&unix.S_IFMT == unix.S_IFCHR &&
		st.Rdev == want.Rdev && st.Dev == want.Dev && st.Ino == want.Ino
}

// others are the holders but this process.
func others(dev string) []Holder {
	return slices.DeleteFunc(Holders(dev), func(h Holder) bool { return h.PID == os.Getpid() })
}
