package port

import (
	"os"
	"path/filepath"
	"testing"
)

// plug lays out an adapter as udev and sysfs do.
func plug(t *testing.T, root, tty, board, serial string, links ...string) {
	t.Helper()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	usb := filepath.Join(root, "sys/devices/usb1", board)
	at := filepath.Join(usb, board+":1.0", tty)
	must(os.MkdirAll(at, 0o755))
	must(os.WriteFile(filepath.Join(usb, "idVendor"), []byte("1209\n"), 0o644))
	if serial != "" {
		must(os.WriteFile(filepath.Join(usb, "serial"), []byte(serial+"\n"), 0o644))
	}
	class := filepath.Join(root, "sys/class/tty", tty)
	must(os.MkdirAll(class, 0o755))
	must(os.Symlink(at, filepath.Join(class, "device")))
	dev := filepath.Join(root, "dev", tty)
	must(os.MkdirAll(filepath.Dir(dev), 0o755))
	must(os.WriteFile(dev, nil, 0o644))
	for _, l := range links {
		l = filepath.Join(root, "dev/serial", l)
		must(os.MkdirAll(filepath.Dir(l), 0o755))
		must(os.Symlink(dev, l))
	}
}

// TestAdapters: an adapter with a number of its own is found by it; one without,
// or with the number of another, by its socket.
func TestAdapters(t *testing.T) {
	root := t.TempDir()
	plug(t, root, "ttyACM0", "1-1", "4F00A1", "by-id/usb-own_4F00A1-if00", "by-path/p-1.1")
	plug(t, root, "ttyUSB0", "1-2", "", "by-id/usb-plain-if00-port0", "by-path/p-1.2-port0")
	plug(t, root, "ttyUSB1", "1-3", "", "by-path/p-1.3-port0") // its twin has the name
	plug(t, root, "ttyUSB2", "1-4", "0001", "by-id/usb-same_0001-if00-port0", "by-path/p-1.4-port0")
	plug(t, root, "ttyUSB3", "1-5", "0001", "by-path/p-1.5-port0")
	want := map[string]struct {
		link  string
		moves bool
	}{
		"/dev/ttyACM0": {"/dev/serial/by-id/usb-own_4F00A1-if00", false},
		"/dev/ttyUSB0": {"/dev/serial/by-path/p-1.2-port0", true},
		"/dev/ttyUSB1": {"/dev/serial/by-path/p-1.3-port0", true},
		"/dev/ttyUSB2": {"/dev/serial/by-path/p-1.4-port0", true},
		"/dev/ttyUSB3": {"/dev/serial/by-path/p-1.5-port0", true},
	}
	got := adapters(root)
	if len(got) != len(want) {
		t.Errorf("%d adapters: %v", len(got), got)
	}
	for _, a := range got {
		link, moves := a.Stable()
		if w := want[a.Device]; link != w.link || moves != w.moves {
			t.Errorf("%s is found by %s (must stay: %v), want %s (%v)", a.Device, link, moves, w.link, w.moves)
		}
	}
	if a := adapters(t.TempDir()); a != nil {
		t.Errorf("nothing is plugged in, and found: %v", a)
	}
}

// TestStableNamesStay: a name that is stable already is not exchanged for one by
// id, which twins share.
func TestStableNamesStay(t *testing.T) {
	for _, name := range []string{"/dev/serial/by-path/p-1.2", "/dev/abbed/left"} {
		if got := Stable(name); got != name {
			t.Errorf("Stable(%s) = %s", name, got)
		}
		if got := NewFinder(name).Find(); got != name {
			t.Errorf("Find(%s) = %s", name, got)
		}
	}
}
