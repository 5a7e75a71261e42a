package access_test

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/daemon/access"
)

func TestCheckListen(t *testing.T) {
	for addr, ok := range map[string]bool{
		"127.0.0.1:8077": true, "127.0.0.1:0": true, "[::1]:8077": true, "localhost:8077": true,
		"LocalHost:1": true, "127.9.9.9:8077": true, "[::ffff:127.0.0.1]:80": true,
		"0.0.0.0:8077": false, ":8077": false, "[::]:8077": false, "192.0.2.1:8077": false,
		"printer.example:8077": false, "localhost.example:80": false, "8077": false, "": false,
		"[fe80::1%lo]:80": false,
	} {
		err := access.CheckListen(addr, access.Rules{})
		if (err == nil) != ok {
			t.Errorf("%q: %v", addr, err)
		}
		if err != nil && !strings.Contains(err.Error(), "127.0.0.1") {
			t.Errorf("%q: %v says no remedy", addr, err)
		}
	}
	h := newHouse(t)
	for _, addr := range []string{"0.0.0.0:8077", "127.0.0.1:0", "x"} {
		if _, err := h.Guard(addr, http.NotFoundHandler()); err == nil {
			t.Errorf("Guard takes %q", addr)
		}
	}
}

func read(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestTokenFile(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "deep", "state")
	file := filepath.Join(dir, "token")
	a, notices, err := access.Open(access.Options{Dir: dir})
	if err != nil || len(notices) > 0 || a.TokenFile() != file {
		t.Fatal(a, notices, err)
	}
	first := read(t, file)
	if _, _, err := access.Open(access.Options{Dir: dir}); err != nil || read(t, file) != first {
		t.Errorf("opened again: %v, the same token: %v", err, read(t, file) == first)
	}

	if err := os.Chmod(file, 0o640); err != nil {
		t.Fatal(err)
	}
	_, notices, err = access.Open(access.Options{Dir: dir})
	if err != nil || len(notices) != 1 || !strings.Contains(notices[0], "0640") || strings.Contains(notices[0], strings.TrimSpace(first)) {
		t.Errorf("readable by others: %q, %v", notices, err)
	}
	info, err := os.Stat(file)
	if err != nil || info.Mode().Perm() != 0o600 || read(t, file) == first {
		t.Errorf("mended: mode %v, a new token: %v", info.Mode(), read(t, file) != first)
	}

	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, notices, err = access.Open(access.Options{Dir: dir}); err != nil || len(notices) != 1 {
		t.Errorf("empty: %q %v", notices, err)
	}

	for name, put := range map[string]func() error{
		"a text that is none": func() error { return os.WriteFile(file, []byte("hunter2\n"), 0o600) },
		"too much":            func() error { return os.WriteFile(file, make([]byte, 5000), 0o600) },
		"a directory":         func() error { return os.Mkdir(file, 0o700) },
		"a link":              func() error { return os.Symlink("/dev/null", file) },
	} {
		if err := os.RemoveAll(file); err != nil {
			t.Fatal(err)
		}
		if err := put(); err != nil {
			t.Fatal(err)
		}
		_, _, err := access.Open(access.Options{Dir: dir})
		if err == nil || !strings.Contains(err.Error(), "remove it") || strings.Contains(err.Error(), "hunter2") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestDirOpenToAll(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if _, _, err := access.Open(access.Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "chmod") {
		t.Errorf("a directory in which everybody writes: %v", err)
	}
}

func TestDamagedSessions(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "sessions.json")
	if err := os.WriteFile(file, []byte(`[{"hash":`), 0o600); err != nil {
		t.Fatal(err)
	}
	a, notices, err := access.Open(access.Options{Dir: dir})
	if err != nil || len(notices) != 1 || len(a.Sessions()) != 0 {
		t.Errorf("%q %v", notices, err)
	}
	if read(t, file+".damaged") != `[{"hash":` {
		t.Error("what was damaged is not kept")
	}
}
