package e2e_test

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"abbed/cmd/abbed/console"
)

// TestImportForAService: root reads in an export for the directory of a service: all of
// it belongs to the service's user then, also where the file is root's alone; what is in
// the way is told, with the remedy; and a directory that stays root's is told.
func TestImportForAService(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can work for another user")
	}
	const nobody = 65534 // the user without rights, by that number on Debian and others
	at, err := os.MkdirTemp("/var/tmp", "abbed-owner-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(at) })
	text, err := os.ReadFile("../../..//daemon/store/testdata/schema-1.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "all.jsonl")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(at, 0o755); err != nil {
		t.Fatal(err)
	}
	service := func(name string) string {
		dir := filepath.Join(at, name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Chown(dir, nobody, nobody); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	call := func(dir string) (code int, said string) {
		c := exec.CommandContext(t.Context(), os.Args[0], "-call-abbed", "--", "data", "import", "--state", dir, file)
		out, _ := c.CombinedOutput()
		return c.ProcessState.ExitCode(), string(out)
	}
	all := func(dir string, uid uint32) {
		t.Helper()
		n := 0
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			info, err := d.Info()
			if err == nil && info.Sys().(*syscall.Stat_t).Uid != uid {
				t.Errorf("%s belongs to %d, want %d", path, info.Sys().(*syscall.Stat_t).Uid, uid)
			}
			n++
			return err
		})
		if err != nil || n < 3 {
			t.Errorf("%d files in %s, %v", n, dir, err)
		}
	}
	left := service("left")
	if code, said := call(left); code != console.ExitDone || !strings.Contains(said, "They belong to") {
		t.Errorf("exit %d: %s", code, said)
	}
	all(left, nobody)
	if code, said := call(left); code != console.ExitRefused {
		t.Errorf("a second time: exit %d: %s", code, said)
	}
	below := filepath.Join(service("two"), "left")
	if code, said := call(below); code != console.ExitDone {
		t.Errorf("exit %d: %s", code, said)
	}
	all(below, nobody)
	mixed := service("mixed")
	if err := os.WriteFile(filepath.Join(mixed, "abbed.lock"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if code, said := call(mixed); code != console.ExitCould || !strings.Contains(said, "chown -R") {
		t.Errorf("a file of root in the way: exit %d: %s", code, said)
	}
	own := filepath.Join(at, "new")
	if code, said := call(own); code != console.ExitDone || !strings.Contains(said, "belongs to root") || !strings.Contains(said, "chown -R abbed:abbed "+own) {
		t.Errorf("a directory that root makes: exit %d: %s", code, said)
	}
	all(own, 0)
}
