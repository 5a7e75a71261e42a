package storetest

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
)

// Kind is what is asked of a file.
type Kind string

// Kinds.
const (
	Open     Kind = "open"
	Read     Kind = "read"
	Write    Kind = "write"
	Truncate Kind = "truncate"
	Sync     Kind = "sync"
	Delete   Kind = "delete"
)

// Op is one thing that is asked of a file; N counts them from 1, reads apart.
type Op struct {
	N    int
	Kind Kind
	File string // without the directory
	At   int64  // of a write or read, bytes; of a truncate, the new size
	Len  int    // of a write or read, bytes
}

// Fault is what happens instead of an Op.
type Fault int

// Faults.
const (
	None     Fault = iota
	Full           // no room: nothing is written
	Short          // no room: half of it is written
	ReadOnly       // the file system takes no change
	IO             // an error of the device
	Flip           // one bit of what is read is another
)

// Disk is the directory that it watches.
type Disk struct {
	dir string

	mu    sync.Mutex
	n     int
	files map[string]*file
	hook  func(Op) Fault
}

// file is what is known of one file: what was synced, and what was done since.
type file struct {
	synced  []byte
	pending []change
	there   bool  // it is in the directory now
	durable bool  // that it is there, or not, was synced
	ghost   *file // what the directory still holds until it is synced; or nil
}

// change is a write, or a truncate where data is nil.
type change struct {
	at   int64
	data []byte
}

var (
	watched   = map[string]*Disk{}
	watchedMu sync.Mutex
)

// Watch watches the files of dir from now on, until the test ends. What is there
// already counts as synced. It must be called before SQLite opens them.
func Watch(t testing.TB, dir string) *Disk {
	t.Helper()
	abs, err := filepath.Abs(dir)
	if err == nil {
		err = install()
	}
	if err != nil {
		t.Fatal(err)
	}
	d := &Disk{dir: abs, files: map[string]*file{}}
	names, _ := filepath.Glob(filepath.Join(abs, "*"))
	for _, name := range names {
		if b, err := os.ReadFile(name); err == nil && kept(name) {
			d.files[filepath.Base(name)] = &file{synced: b, there: true, durable: true}
		}
	}
	watchedMu.Lock()
	defer watchedMu.Unlock()
	watched[abs] = d
	t.Cleanup(func() {
		watchedMu.Lock()
		defer watchedMu.Unlock()
		delete(watched, abs)
	})
	return d
}

// kept reports whether a file survives a power cut: the index of the log in
// shared memory is made anew from it.
func kept(name string) bool { return !strings.HasSuffix(name, "-shm") }

// On has f told of each Op before it is done; nil: nobody is told.
func (d *Disk) On(f func(Op) Fault) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.hook = f
}

// asked tells the hook of an Op.
func (d *Disk) asked(op Op) Fault {
	d.mu.Lock()
	if op.Kind != Read {
		d.n++
	}
	op.N = d.n
	hook := d.hook
	d.mu.Unlock()
	if hook == nil {
		return None
	}
	return hook(op)
}

// did notes what was done.
func (d *Disk) did(op Op, data []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f := d.files[op.File]
	switch op.Kind {
	case Open:
		d.opened(op.File, f)
	case Write:
		f.pending = append(f.pending, change{op.At, slices.Clone(data)})
	case Truncate:
		f.pending = append(f.pending, change{op.At, nil})
	case Sync:
		for _, c := range f.pending {
			f.synced = c.onto(f.synced, len(c.data))
		}
		f.pending = nil
		if log(op.File) && !f.durable {
			d.dirSynced()
		}
	case Delete:
		if f != nil && f.there {
			d.files[op.File] = &file{ghost: f.oldest()}
		}
	}
}

// log reports whether a file is one whose first sync syncs its directory too.
func log(name string) bool {
	return strings.HasSuffix(name, "-wal") || strings.HasSuffix(name, "-journal")
}

func (d *Disk) opened(name string, f *file) {
	if f != nil && f.there {
		return
	}
	made := &file{there: true}
	if f != nil {
		made.ghost = f.ghost
	} else if b, err := os.ReadFile(filepath.Join(d.dir, name)); err == nil {
		made.synced = b // somebody else made it
	}
	d.files[name] = made
}

// dirSynced makes what is there, and what is not, certain.
func (d *Disk) dirSynced() {
	for name, f := range d.files {
		f.durable, f.ghost = true, nil
		if !f.there {
			delete(d.files, name)
		}
	}
}

// oldest is what the directory may still hold of a file that goes.
func (f *file) oldest() *file {
	if f.durable {
		return &file{synced: f.synced, pending: f.pending, there: true, durable: true}
	}
	return f.ghost
}

// onto carries a change out on b, only its first n bytes if it is a write.
func (c change) onto(b []byte, n int) []byte {
	end := c.at + int64(n)
	if c.data == nil {
		end = c.at
	}
	if grow := end - int64(len(b)); grow > 0 {
		b = append(b, make([]byte, grow)...)
	}
	if c.data == nil {
		return b[:c.at]
	}
	copy(b[c.at:end], c.data[:n])
	return b
}

// Cut writes into the directory to what a power cut may leave now. A nil rnd
// loses all that may be lost; else chance decides for each write.
func (d *Disk) Cut(to string, rnd *rand.Rand) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	var errs []error
	for name, f := range d.files {
		if b, there := f.cut(rnd); there {
			errs = append(errs, os.WriteFile(filepath.Join(to, name), b, 0o600))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("storetest: cut: %w", err)
	}
	return nil
}

// cut is what is left of a file.
func (f *file) cut(rnd *rand.Rand) (b []byte, there bool) {
	if !f.durable && (rnd == nil || rnd.IntN(2) == 0) {
		if f.ghost == nil {
			return nil, false
		}
		return f.ghost.cut(rnd)
	}
	if !f.there {
		return nil, false
	}
	b = slices.Clone(f.synced)
	if rnd == nil {
		return b, true
	}
	keep := rnd.IntN(3) // 0: few, 1: half, 2: most of what is pending
	for _, c := range f.pending {
		if rnd.IntN(4) > keep {
			continue
		}
		n := len(c.data)
		if rnd.IntN(8) == 0 {
			n = rnd.IntN(n/sector+1) * sector // torn
		}
		b = c.onto(b, n)
	}
	return b, true
}

// sector is the unit in which a disk writes, bytes.
const sector = 512

// Image is Cut into a directory of the test's own, beside which the files that
// SQLite does not write are copied as they are.
func (d *Disk) Image(t testing.TB, rnd *rand.Rand) string {
	t.Helper()
	to, err := os.MkdirTemp("/dev/shm", "abbed-cut-")
	if err != nil {
		to = t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(to) })
	for _, name := range []string{"abbed.begun", "token"} {
		if b, err := os.ReadFile(filepath.Join(d.dir, name)); err == nil {
			err = os.WriteFile(filepath.Join(to, name), b, 0o600)
			if err != nil {
				t.Error(err)
			}
		}
	}
	if err := d.Cut(to, rnd); err != nil {
		t.Error(err)
	}
	return to
}
