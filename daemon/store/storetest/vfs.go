package storetest

import (
	"errors"
	"path/filepath"
	"sync"
	"unsafe"

	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// SQLite's own way to the files is copied and put in front as the default; the
// copy notes what is done to files of a watched directory, and passes all on.
// Of each open file the table of methods is exchanged, so that everything that
// is not noted (locks, the index in shared memory) goes where it always went.

// signatures of what is passed on, as the translated library calls them.
type (
	openFunc     = func(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32
	deleteFunc   = func(tls *libc.TLS, vfs, name uintptr, dir int32) int32
	closeFunc    = func(tls *libc.TLS, file uintptr) int32
	moveFunc     = func(tls *libc.TLS, file, buf uintptr, n int32, at int64) int32 // read and write
	truncateFunc = func(tls *libc.TLS, file uintptr, size int64) int32
	syncFunc     = func(tls *libc.TLS, file uintptr, flags int32) int32
)

// at is the value at an address of the library's memory.
func at[T any](p uintptr) *T { return *(**T)(unsafe.Pointer(&p)) }

// call makes the function at an address callable.
func call[F any](p uintptr) F {
	box := &struct{ p uintptr }{p}
	return *(*F)(unsafe.Pointer(box))
}

// address is that of a function which is never freed: one of this file.
func address[F any](f F) uintptr { return *(*uintptr)(unsafe.Pointer(&f)) }

// The library's own: the way to files, and the tables of methods by the address
// of our copies.
var (
	own    *sqlite3.Tsqlite3_vfs
	tables struct {
		sync.Mutex
		ours  map[uintptr]uintptr // of theirs
		files map[uintptr]opened
	}
)

// opened is an open file of a watched directory.
type opened struct {
	disk    *Disk
	name    string
	methods *sqlite3.Tsqlite3_io_methods // the library's own
}

// install puts the copy in front, once a process.
var install = sync.OnceValue(func() error {
	tls := libc.NewTLS() // kept: the copy lives as long as the process
	if rc := sqlite3.Xsqlite3_initialize(tls); rc != sqlite3.SQLITE_OK {
		return errors.New("storetest: SQLite does not start")
	}
	found := sqlite3.Xsqlite3_vfs_find(tls, 0)
	if found == 0 {
		return errors.New("storetest: SQLite has no way to files")
	}
	own = at[sqlite3.Tsqlite3_vfs](found)
	tables.ours, tables.files = map[uintptr]uintptr{}, map[uintptr]opened{}
	name, err := libc.CString("abbed-watched")
	if err != nil {
		return err
	}
	p := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(*own)))
	copied := at[sqlite3.Tsqlite3_vfs](p)
	*copied = *own
	copied.FpNext, copied.FzName = 0, name
	copied.FxOpen, copied.FxDelete = address(openFunc(openFile)), address(deleteFunc(deleteFile))
	if rc := sqlite3.Xsqlite3_vfs_register(tls, p, 1); rc != sqlite3.SQLITE_OK {
		return errors.New("storetest: SQLite takes no other way to files")
	}
	return nil
})

// diskOf is the watched directory of a file; nil: none.
func diskOf(path string) *Disk {
	watchedMu.Lock()
	defer watchedMu.Unlock()
	return watched[filepath.Dir(path)]
}

func openFile(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32 {
	pass := call[openFunc](own.FxOpen)
	if name == 0 {
		return pass(tls, vfs, name, file, flags, out)
	}
	path := libc.GoString(name)
	d := diskOf(path)
	if d == nil || !kept(path) {
		return pass(tls, vfs, name, file, flags, out)
	}
	op := Op{Kind: Open, File: filepath.Base(path)}
	if f := d.asked(op); f != None {
		at[sqlite3.Tsqlite3_file](file).FpMethods = 0
		return f.code(sqlite3.SQLITE_CANTOPEN)
	}
	rc := pass(tls, vfs, name, file, flags, out)
	if rc == sqlite3.SQLITE_OK {
		exchange(tls, d, op.File, file)
		d.did(op, nil)
	}
	return rc
}

// exchange gives an open file our table of methods.
func exchange(tls *libc.TLS, d *Disk, name string, file uintptr) {
	tables.Lock()
	defer tables.Unlock()
	f := at[sqlite3.Tsqlite3_file](file)
	theirs := f.FpMethods
	ours, ok := tables.ours[theirs]
	if !ok {
		ours = libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(sqlite3.Tsqlite3_io_methods{})))
		m := at[sqlite3.Tsqlite3_io_methods](ours)
		*m = *at[sqlite3.Tsqlite3_io_methods](theirs)
		m.FxClose, m.FxRead, m.FxWrite = address(closeFunc(closeFile)), address(moveFunc(readFile)), address(moveFunc(writeFile))
		m.FxTruncate, m.FxSync = address(truncateFunc(truncateFile)), address(syncFunc(syncFile))
		tables.ours[theirs] = ours
	}
	f.FpMethods = ours
	tables.files[file] = opened{d, name, at[sqlite3.Tsqlite3_io_methods](theirs)}
}

func of(file uintptr) opened {
	tables.Lock()
	defer tables.Unlock()
	return tables.files[file]
}

func deleteFile(tls *libc.TLS, vfs, name uintptr, dir int32) int32 {
	path := libc.GoString(name)
	d := diskOf(path)
	pass := call[deleteFunc](own.FxDelete)
	if d == nil || !kept(path) {
		return pass(tls, vfs, name, dir)
	}
	op := Op{Kind: Delete, File: filepath.Base(path)}
	if f := d.asked(op); f != None {
		return f.code(sqlite3.SQLITE_IOERR_DELETE)
	}
	rc := pass(tls, vfs, name, dir)
	if rc == sqlite3.SQLITE_OK {
		d.did(op, nil)
		if dir != 0 {
			d.mu.Lock()
			d.dirSynced()
			d.mu.Unlock()
		}
	}
	return rc
}

func closeFile(tls *libc.TLS, file uintptr) int32 {
	o := of(file)
	tables.Lock()
	delete(tables.files, file)
	tables.Unlock()
	return call[closeFunc](o.methods.FxClose)(tls, file)
}

func readFile(tls *libc.TLS, file, buf uintptr, n int32, from int64) int32 {
	o := of(file)
	fault := o.disk.asked(Op{Kind: Read, File: o.name, At: from, Len: int(n)})
	if fault == IO {
		return sqlite3.SQLITE_IOERR_READ
	}
	rc := call[moveFunc](o.methods.FxRead)(tls, file, buf, n, from)
	if fault == Flip && n > 0 {
		b := unsafe.Slice(at[byte](buf), n)
		b[n/2] ^= 0x10
	}
	return rc
}

func writeFile(tls *libc.TLS, file, buf uintptr, n int32, to int64) int32 {
	o := of(file)
	pass := call[moveFunc](o.methods.FxWrite)
	op := Op{Kind: Write, File: o.name, At: to, Len: int(n)}
	fault := o.disk.asked(op)
	if fault == Short {
		n /= 2
	} else if fault != None {
		return fault.code(sqlite3.SQLITE_IOERR_WRITE)
	}
	data := unsafe.Slice(at[byte](buf), n)
	rc := pass(tls, file, buf, n, to)
	if rc == sqlite3.SQLITE_OK {
		o.disk.did(op, data)
	}
	if fault == Short {
		return sqlite3.SQLITE_FULL
	}
	return rc
}

func truncateFile(tls *libc.TLS, file uintptr, size int64) int32 {
	o := of(file)
	op := Op{Kind: Truncate, File: o.name, At: size}
	if f := o.disk.asked(op); f != None {
		return f.code(sqlite3.SQLITE_IOERR_TRUNCATE)
	}
	rc := call[truncateFunc](o.methods.FxTruncate)(tls, file, size)
	if rc == sqlite3.SQLITE_OK {
		o.disk.did(op, nil)
	}
	return rc
}

func syncFile(tls *libc.TLS, file uintptr, flags int32) int32 {
	o := of(file)
	op := Op{Kind: Sync, File: o.name}
	if f := o.disk.asked(op); f != None {
		return f.code(sqlite3.SQLITE_IOERR_FSYNC)
	}
	rc := call[syncFunc](o.methods.FxSync)(tls, file, flags)
	if rc == sqlite3.SQLITE_OK {
		o.disk.did(op, nil)
	}
	return rc
}

// code is how the library names a fault; io is its name for one of the device.
func (f Fault) code(io int32) int32 {
	switch f {
	case Full, Short:
		return sqlite3.SQLITE_FULL
	case ReadOnly:
		return sqlite3.SQLITE_READONLY
	}
	return io
}
