package port

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Adapter is a serial adapter that is plugged in, by what tells it from others.
type Adapter struct {
	// Device is its name of the moment, such as /dev/ttyUSB0.
	Device string
	// ByID and ByPath are its links under /dev/serial: by what it says of itself,
	// and by the socket it is plugged into; "" if there is none.
	ByID, ByPath string
	// Serial is its own serial number; "" if it has none, or says one that
	// another adapter says too.
	Serial string
}

// Stable is the link by which it is found again: by its own number if it has
// one, else by its socket. moves says that it must stay in its socket.
func (a Adapter) Stable() (link string, moves bool) {
	switch {
	case a.ByID != "" && (a.Serial != "" || a.ByPath == ""):
		return a.ByID, false
	case a.ByPath != "":
		return a.ByPath, true
	}
	return a.Device, true
}

// String names it for a person.
func (a Adapter) String() string {
	if name := cmp.Or(a.ByID, a.ByPath); name != "" {
		return fmt.Sprintf("%s (%s)", filepath.Base(name), a.Device)
	}
	return a.Device
}

// Adapters returns the serial adapters that are plugged in, in the order of
// their links. It opens none of them.
func Adapters() []Adapter { return adapters("/") }

// adapters looks below a root, which tests lay out.
func adapters(root string) []Adapter {
	byID := links(filepath.Join(root, "dev/serial/by-id"))
	byPath := links(filepath.Join(root, "dev/serial/by-path"))
	var out []Adapter
	seen := map[string]bool{}
	says := map[string]int{} // which board says which number, how often
	for _, l := range slices.Concat(byID, byPath) {
		if seen[l[1]] {
			continue
		}
		seen[l[1]] = true
		a := Adapter{Device: l[1], ByID: linkTo(byID, l[1]), ByPath: linkTo(byPath, l[1])}
		var usb string
		if a.Serial, usb = serialOf(root, filepath.Base(l[1])); a.Serial != "" && !seen[usb] {
			seen[usb] = true // one board with several ports says it once
			says[a.Serial]++
		}
		out = append(out, a)
	}
	for i, a := range out {
		if says[a.Serial] > 1 {
			out[i].Serial = ""
		}
		for _, name := range [...]*string{&out[i].Device, &out[i].ByID, &out[i].ByPath} {
			*name = strings.TrimPrefix(*name, strings.TrimSuffix(root, "/"))
		}
	}
	return out
}

// links returns the links of a folder and the devices they lead to.
func links(dir string) (out [][2]string) {
	all, _ := filepath.Glob(dir + "/*")
	for _, l := range all {
		if to, err := filepath.EvalSymlinks(l); err == nil {
			out = append(out, [2]string{l, to})
		}
	}
	return out
}

func linkTo(list [][2]string, dev string) string {
	for _, l := range list {
		if l[1] == dev {
			return l[0]
		}
	}
	return ""
}

// serialOf returns the serial number that the USB board of a tty says, and the
// board's place in sysfs. The tty's device stands a few folders below the board,
// which is the first that has a vendor.
func serialOf(root, tty string) (serial, usb string) {
	at, err := filepath.EvalSymlinks(filepath.Join(root, "sys/class/tty", tty, "device"))
	if err != nil {
		return "", ""
	}
	for range 6 {
		if _, err := os.Stat(filepath.Join(at, "idVendor")); err == nil {
			b, _ := os.ReadFile(filepath.Join(at, "serial"))
			return strings.TrimSpace(string(b)), at
		}
		at = filepath.Dir(at)
	}
	return "", ""
}
