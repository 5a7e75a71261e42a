package bench

import (
	"context"
	"fmt"
	"os"
	"sync"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// Pty serves the printer on a new pseudo-terminal and returns the path that a
// program opens as its port. The line is raw (no echo, no rewritten newlines),
// and one near-side descriptor is kept open, so that the printer does not see
// a hang-up when a program closes the port. After an unplug the path is dead.
// stop ends it and waits.
func Pty(p *Printer) (path string, stop func() error, err error) {
	far, near, err := pty.Open()
	if err != nil {
		return "", nil, fmt.Errorf("bench: open a pseudo-terminal: %w", err)
	}
	if err := raw(near); err != nil {
		far.Close()
		near.Close()
		return "", nil, fmt.Errorf("bench: set the pseudo-terminal raw: %w", err)
	}
	if far, err = pollable(far); err != nil {
		near.Close()
		return "", nil, fmt.Errorf("bench: serve the pseudo-terminal: %w", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		err := p.Serve(ctx, far)
		near.Close()
		done <- err
	}()
	stop = sync.OnceValue(func() error {
		cancel()
		return <-done
	})
	return near.Name(), stop, nil
}

// raw switches off all that a terminal does to bytes.
func raw(f *os.File) error {
	t, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, t)
}

// pollable gives the file a descriptor whose Read ends when it is closed; the
// one that comes from opening the pair blocks for ever. The old file is closed.
func pollable(f *os.File) (*os.File, error) {
	defer f.Close()
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		unix.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}
