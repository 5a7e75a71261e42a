package outside

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// ErrNoFile says that there is something of that name which is no file: a pipe or a
// device, of which nobody knows whether it ever ends. ErrLarge says that the file is
// larger than what is expected there.
var (
	ErrNoFile = errors.New("is no regular file")
	ErrLarge  = errors.New("is larger than what belongs there")
)

// Open opens a regular file to read it. It does not wait for whoever would write into
// a pipe.
func Open(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	switch {
	case err == nil && info.IsDir():
		err = &os.PathError{Op: "read", Path: name, Err: syscall.EISDIR}
	case err == nil && !info.Mode().IsRegular():
		err = fmt.Errorf("%s %w", name, ErrNoFile)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Read reads a regular file of at most so many bytes.
func Read(name string, most int64) ([]byte, error) {
	f, err := Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(b)) > most {
		return nil, fmt.Errorf("%s %w, %d bytes", name, ErrLarge, most)
	}
	return b, err
}
