package access

import (
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"abbed/config/outside"
)

// tokenName is the file of the operator's token under the state directory.
const tokenName = "token"

// mostToken bounds the file, bytes; a token has 43.
const mostToken = 256

// loadToken reads the token, or makes one. A file that others could read is
// replaced: what they read must not open anything.
func loadToken(file string) (secret, string, error) {
	info, err := os.Lstat(file)
	if errors.Is(err, fs.ErrNotExist) {
		s, err := makeToken(file)
		return s, "", err
	}
	if err != nil {
		return secret{}, "", err
	}
	if err := ownFile(info); err != nil {
		return secret{}, "", err
	}
	if info.Mode().Perm()&0o077 != 0 {
		s, err := makeToken(file)
		return s, fmt.Sprintf("The operator's token %s could be read by others (mode %04o). It was replaced by a new one with mode 0600. Programs that kept the old one must read it again.", file, info.Mode().Perm()), err
	}
	if info.Size() == 0 {
		s, err := makeToken(file)
		return s, fmt.Sprintf("The operator's token %s was empty and was made again.", file), err
	}
	b, err := outside.Read(file, mostToken)
	if err != nil && !errors.Is(err, outside.ErrLarge) {
		return secret{}, "", err
	}
	text := strings.TrimSpace(string(b))
	if raw, err := base64.RawURLEncoding.DecodeString(text); err != nil || len(raw) != secretBytes {
		return secret{}, "", errors.New("holds no token; remove it, and a new one is made")
	}
	return hash(text), "", nil
}

// ownFile refuses what is not a regular file of our own.
func ownFile(info fs.FileInfo) error {
	if !info.Mode().IsRegular() {
		return errors.New("is not a regular file; remove it, and a new one is made")
	}
	if st, ok := info.Sys().(*syscall.Stat_t); ok && int(st.Uid) != os.Geteuid() {
		return errors.New("belongs to another user; run abbed as that user, or give --state another directory")
	}
	return nil
}

func makeToken(file string) (secret, error) {
	text, s := newSecret()
	return s, writeFile(file, []byte(text+"\n"))
}

// writeFile replaces a file at once and durably, mode 0600.
func writeFile(file string, b []byte) error {
	dir := filepath.Dir(file)
	f, err := os.CreateTemp(dir, "."+filepath.Base(file)+"-*") // mode 0600
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
