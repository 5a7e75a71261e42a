package store

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What the disk may say. Each stands before the disk's own words, and can be
// branched on; Hint says what to do.
var (
	// ErrFull says that there is no room; nothing of the call was written.
	ErrFull = errors.New("the disk is full")
	// ErrReadOnly says that the disk, or the permissions, allow no change.
	ErrReadOnly = errors.New("the state directory cannot be written")
	// ErrDisk says that the disk or the card failed.
	ErrDisk = errors.New("the disk or the card reports an error")
)

// failed returns err with the act before it and, where the disk is the cause,
// with its sentence; nil for nil.
func failed(act string, err error) error {
	if err == nil {
		return nil
	}
	if what := trouble(err); what != nil && !errors.Is(err, what) {
		return fmt.Errorf("store: %s: %w: %w", act, what, err)
	}
	return fmt.Errorf("store: %s: %w", act, err)
}

// trouble names what the disk has; nil: it is something else.
func trouble(err error) error {
	switch {
	case isDamage(err):
		return ErrDamaged
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ErrFull
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission):
		return ErrReadOnly
	case errors.Is(err, syscall.EIO):
		return ErrDisk
	}
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return nil
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return ErrReadOnly
	case sqlite3.SQLITE_IOERR:
		return ErrDisk
	}
	return nil
}

// Hint says what a person can do about an error of this package; empty where
// that is not the disk's.
func Hint(err error) string {
	switch {
	case errors.Is(err, ErrFull):
		return "free some room on the disk, then try again; what was confirmed before is kept"
	case errors.Is(err, ErrReadOnly):
		return "check that the disk is writable (a failing card is not), and the directory too"
	case errors.Is(err, ErrDisk):
		return "copy the state directory to another disk, and replace this one"
	case errors.Is(err, ErrDamaged):
		return "this entry is not used; copy the state directory, and check the disk or the card"
	case errors.Is(err, ErrInUse), errors.Is(err, ErrNewer):
		return "see the sentence before"
	}
	return ""
}
