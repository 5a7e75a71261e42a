package console

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// BecomeOwner goes on as the owner of a state directory where root was called for one
// that belongs to another user, such as that of the service: what is made there is
// then that user's, who else could not open it. Nothing is handed over afterwards,
// since root had better not follow names in a directory of somebody else. Files that
// only root may read have to be open before. owner is who it is now, "" if nothing
// changed.
func BecomeOwner(dir string) (owner string, err error) {
	if os.Geteuid() != 0 {
		return "", nil
	}
	uid, gid, err := ownerOf(dir)
	if err != nil || uid == 0 {
		return "", err
	}
	owner = strconv.Itoa(uid)
	if u, err := user.LookupId(owner); err == nil {
		owner = u.Username
	}
	if err := errors.Join(syscall.Setgroups([]int{gid}), syscall.Setgid(gid), syscall.Setuid(uid)); err != nil {
		return "", fmt.Errorf("go on as %s, who owns %s: %w; call it as that user: sudo -u %s abbed", owner, dir, err, owner)
	}
	return owner, nil
}

// ForService makes the state directory of a printer that is not set up yet where the
// package's service will look for it, and gives it to the service's user.
func ForService(state string) error {
	u, err := user.Lookup("abbed")
	if os.Geteuid() != 0 || err != nil {
		return nil // no package is installed, or this user keeps it
	}
	uid, err := strconv.Atoi(u.Uid)
	gid, err2 := strconv.Atoi(u.Gid)
	if err = errors.Join(err, err2); err != nil {
		return err
	}
	if err := os.Mkdir(state, 0o700); errors.Is(err, fs.ErrExist) {
		return nil
	} else if err != nil {
		return err
	}
	return os.Chown(state, uid, gid)
}

// ownerOf returns who owns a directory, or the nearest one above it that is there.
func ownerOf(dir string) (uid, gid int, err error) {
	dir, err = filepath.Abs(dir)
	if err != nil {
		return 0, 0, err
	}
	for {
		info, err := os.Stat(dir)
		if errors.Is(err, fs.ErrNotExist) && dir != filepath.Dir(dir) {
			dir = filepath.Dir(dir)
			continue
		}
		if err != nil {
			return 0, 0, err
		}
		s, ok := info.Sys().(*syscall.Stat_t)
		if !ok {
			return 0, 0, fmt.Errorf("who owns %s cannot be told on this system", dir)
		}
		return int(s.Uid), int(s.Gid), nil
	}
}

// StaysRoots says what to do with a state directory that is now root's; "" if it is
// another user's.
func StaysRoots(dir string) string {
	if uid, _, err := ownerOf(dir); err != nil || uid != 0 {
		return ""
	}
	return fmt.Sprintf("%s belongs to root: a service that runs as another user cannot open it. For the service of the package: chown -R abbed:abbed %s", dir, dir)
}
