package console

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// A file that a person names for a result appears under its name only when it is
// whole, and takes the place of nothing but an older file.

// CanBecome returns why no result can get the name, or nil.
func CanBecome(name string) error {
	if name == "" {
		return errors.New("names no file: give a name, or leave it out for standard output")
	}
	dir := filepath.Dir(name)
	if i, err := os.Stat(dir); err != nil || !i.IsDir() {
		return fmt.Errorf("%s: there is no directory %s: make it, or name another", name, dir)
	}
	i, err := os.Lstat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s: it cannot be looked at: name another file (%w)", name, err)
	case i.IsDir():
		return fmt.Errorf("%s is a directory: name a file in it", name)
	case i.Mode()&fs.ModeSymlink != 0:
		to, _ := os.Readlink(name)
		return fmt.Errorf("%s is a link to %s: name that file itself, or another", name, to)
	case !i.Mode().IsRegular():
		return fmt.Errorf("%s is no file but a device, a pipe or a socket: name a file, or leave the name out and redirect standard output there", name)
	}
	return nil
}

// Becomes has do write a file, beside the name until it is whole.
func Becomes(name string, do func(io.Writer) error) error {
	if err := CanBecome(name); err != nil {
		return err
	}
	mode := fs.FileMode(0o644)
	if i, err := os.Stat(name); err == nil {
		mode = i.Mode().Perm()
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".abbed-*")
	if err != nil {
		return fmt.Errorf("%s: %w", name, OnDisk(err))
	}
	defer os.Remove(f.Name()) // gone already if all went well
	err = errors.Join(do(f), f.Chmod(mode), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		err = OnDisk(err)
	}
	return err
}

// Become writes a text so.
func Become(name, text string) error {
	return Becomes(name, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
}

// OnDisk says what to do where the disk is why.
func OnDisk(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("the disk is full: make room, or write to another one (%w)", err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("nothing can be written there: write to another disk (%w)", err)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("whoever runs this may not write there: look at the directory's owner and mode, or name another (%w)", err)
	}
	return err
}
