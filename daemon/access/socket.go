package access

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/user"
	"path/filepath"
	"strconv"

	"golang.org/x/sys/unix"
)

// SocketMode is the mode of the socket: its owner and its group.
const SocketMode = 0o660

// ListenSocket makes the Unix socket at path for a button on this machine, for
// the members of a group ("": the daemon's own). Mode and group are set before
// anybody can reach it: it is made in a directory of our own and then moved to
// its place. A socket that nobody serves any more is
// replaced; one that is served, and what is no socket, is not.
func ListenSocket(path, group string) (net.Listener, error) {
	if err := freeSocket(path); err != nil {
		return nil, fmt.Errorf("access: socket %s: %w", path, err)
	}
	dir, err := os.MkdirTemp(filepath.Dir(path), ".abbed-") // mode 0700
	if err != nil {
		return nil, fmt.Errorf("access: socket %s: %w; make the directory, or set another socket", path, err)
	}
	defer os.RemoveAll(dir)
	made := filepath.Join(dir, "s")
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: made, Net: "unix"})
	if err != nil {
		return nil, fmt.Errorf("access: socket %s: %w", path, err)
	}
	l.SetUnlinkOnClose(false)
	err = give(made, group)
	if err == nil {
		err = errors.Join(os.Chmod(made, SocketMode), os.Rename(made, path))
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("access: socket %s: %w", path, err), l.Close())
	}
	return &socket{UnixListener: l, path: path}, nil
}

// give gives a file to a group; "" leaves it as it is.
func give(file, group string) error {
	if group == "" {
		return nil
	}
	g, err := user.LookupGroup(group)
	if err != nil {
		return fmt.Errorf("the group %q: %w; make it, or set another socket_group", group, err)
	}
	gid, err := strconv.Atoi(g.Gid)
	if err != nil {
		return fmt.Errorf("the group %q has the odd number %q", group, g.Gid)
	}
	if err := os.Chown(file, -1, gid); err != nil {
		return fmt.Errorf("give it to the group %q: %w; the daemon's user must be a member of it", group, err)
	}
	return nil
}

// freeSocket checks that path may be taken.
func freeSocket(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode().Type() != fs.ModeSocket {
		return errors.New("there is something else of that name; remove it, or set another socket")
	}
	if c, err := net.Dial("unix", path); err == nil {
		_ = c.Close()
		return errors.New("another program serves it; is abbed running already?")
	}
	return nil
}

// socket removes its path when it is closed, if that is still its own.
type socket struct {
	*net.UnixListener
	path string
}

func (s *socket) Close() error {
	err := s.UnixListener.Close()
	if c, e := net.Dial("unix", s.path); e == nil {
		return errors.Join(err, c.Close()) // another abbed's by now
	}
	if e := os.Remove(s.path); e != nil && !errors.Is(e, fs.ErrNotExist) {
		err = errors.Join(err, e)
	}
	return err
}

type peerKey struct{}

// bySocket notes in the context of a connection that it came by the socket, and by
// whom. Who may write to the socket's file may trigger: the file's permissions are
// the access.
func bySocket(ctx context.Context, c net.Conn) context.Context {
	u, ok := c.(*net.UnixConn)
	if !ok {
		return ctx
	}
	who := "socket"
	if raw, err := u.SyscallConn(); err == nil {
		_ = raw.Control(func(fd uintptr) {
			if cred, err := unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED); err == nil {
				who = fmt.Sprintf("socket, user %d", cred.Uid)
			}
		})
	}
	return context.WithValue(ctx, peerKey{}, who)
}

// socketPeer names who is at the other end of the socket; false if the request
// did not come by it.
func socketPeer(r *http.Request) (string, bool) {
	who, ok := r.Context().Value(peerKey{}).(string)
	return who, ok
}

func onSocket(r *http.Request) bool {
	_, ok := socketPeer(r)
	return ok
}
