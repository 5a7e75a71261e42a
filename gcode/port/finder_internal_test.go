package port

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/creack/pty"
)

// A device that comes back under another name is found by its stable one, and
// another device that got the old name is not taken for it.
func TestFinder(t *testing.T) {
	dir, was := t.TempDir(), byID
	byID = dir
	t.Cleanup(func() { byID = was })
	names := make([]string, 2)
	for i := range names {
		far, near, err := pty.Open()
		if err != nil {
			t.Skipf("no pseudo-terminals here: %v", err)
		}
		t.Cleanup(func() { far.Close(); near.Close() })
		names[i] = near.Name()
	}
	link := filepath.Join(dir, "usb-adapter-0001")
	plug := func(to string) {
		os.Remove(link)
		if err := os.Symlink(to, link); err != nil {
			t.Fatal(err)
		}
	}
	f := NewFinder(names[0])
	if got := f.Find(); got != names[0] {
		t.Errorf("without a stable name: %s", got)
	}
	plug(names[0])
	if got := f.Find(); got != link {
		t.Errorf("with a stable name: %s, want %s", got, link)
	}
	plug(names[1]) // unplugged, and plugged in again beside another adapter
	real, err := filepath.EvalSymlinks(f.Find())
	if err != nil || real != names[1] {
		t.Errorf("found at %s (%v), it is at %s", real, err, names[1])
	}
	os.Remove(link)
	if got := f.Find(); got != link {
		t.Errorf("unplugged: %s; another device may have the name %s now", got, names[0])
	}
	if got := NewFinder("tcp://host:1").Find(); got != "tcp://host:1" {
		t.Error(got)
	}
	if got := NewFinder(filepath.Join(dir, "none")).Find(); got != filepath.Join(dir, "none") {
		t.Error(got)
	}
}
