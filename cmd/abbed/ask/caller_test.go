package ask_test

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
)

// runOn runs a command, and gives its exit code, output and words.
func runOn(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	var out, errs bytes.Buffer
	code := commands.Main(t.Context(), args, &out, &errs)
	return code, out.String(), errs.String()
}

// TestPrinterByName: a command finds the daemon of a printer by its settings file.
func TestPrinterByName(t *testing.T) {
	dir, state := t.TempDir(), t.TempDir()
	for name, text := range map[string]string{
		"left":  "listen: 127.0.0.1:8079\nstate: " + state + "\n",
		"right": "listen: 127.0.0.1:8080\nstate: " + state + "\naccess: {certificate: c.pem, key: k.pem}\n",
		"bad":   "listen: 8\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, want := range map[string]string{"left": "http://127.0.0.1:8079", "right": "https://127.0.0.1:8080"} {
		k := ask.Caller{Printer: name, Dirs: []string{t.TempDir(), dir}}
		if err := k.Find(); err != nil || k.URL != want || k.Token != filepath.Join(state, "token") {
			t.Errorf("%s: %s %s, %v", name, k.URL, k.Token, err)
		}
	}
	for name, says := range map[string]string{"middle": "abbed setup", "../left": "abbed setup", "bad": "listen"} {
		k := ask.Caller{Printer: name, Dirs: []string{dir}}
		var e *console.Exit
		if err := k.Find(); !errors.As(err, &e) || e.Code != console.ExitUsage || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var out, errs bytes.Buffer
	if code := commands.Main(t.Context(), []string{"status", "--printer", "left", "--url", "http://127.0.0.1:1"}, &out, &errs); code == console.ExitDone || !strings.Contains(errs.String(), "printer") {
		t.Errorf("both a name and an address: exit %d, %s", code, &errs)
	}
}

// TestOnlyPrinter: a printer need not be named where there is only one; where there are
// several a command does not guess, and names them.
func TestOnlyPrinter(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	dir := console.SettingsDir(false)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	state := t.TempDir()
	add := func(name string) {
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte("listen: 127.0.0.1:1\nstate: "+state+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	add("left")
	for _, args := range [][]string{{"stop"}, {"status"}, {"workshop", "repair", "a-run"}, {"correction", "carry", "part.gcode"}} {
		if code, _, errs := runOn(t, args...); code == console.ExitDone || !strings.Contains(errs, "127.0.0.1:1") {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
	if code, _, errs := runOn(t, "data", "export", filepath.Join(state, "file")); code != console.ExitUsage || !strings.Contains(errs, "export "+state) {
		t.Errorf("export: exit %d, %s", code, errs)
	}
	add("right")
	if code, out, errs := runOn(t, "status", "--all"); code != console.ExitDone || !strings.Contains(out, "left\tdoes not answer") || !strings.Contains(out, "right\tdoes not answer") {
		t.Errorf("status --all: exit %d, %s%s", code, out, errs)
	}
	for _, args := range [][]string{{"stop"}, {"status"}, {"correction", "undo"}, {"workshop", "repair", "a-run"}, {"data", "export", "file"}} {
		if code, _, errs := runOn(t, args...); code != console.ExitUsage || !strings.Contains(errs, "left, right") {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
}

// TestStatusOfAll: what the room knows of a printer is told whichever daemon is asked first:
// one that was switched off is so, and one that was killed does not answer.
func TestStatusOfAll(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	dir := console.SettingsDir(false)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprint(w, `[{"name":"left","ended":true,"todo":[]},{"name":"middle","link":"ready","todo":[]},{"name":"right","link":"ready","todo":[]}]`)
	}))
	defer s.Close()
	for name, at := range map[string]string{"left": "127.0.0.1:1", "middle": "127.0.0.1:1", "other": "127.0.0.1:1", "right": s.Listener.Addr().String()} {
		text := fmt.Sprintf("listen: %s\nstate: %s\n", at, t.TempDir())
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want := "left\tswitched off\t\nmiddle\tdoes not answer\t\nother\tdoes not answer\t\nright\tready\t\n"
	if code, out, errs := runOn(t, "status", "--all"); code != console.ExitDone || out != want {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
}

// TestTree: the commands are those of the contract, each in a group, with a line that
// fits beside its name on a terminal of 80 columns.
func TestTree(t *testing.T) {
	want := []string{"demo", "setup", "serve", "doctor", "status", "measure", "confirm", "stop", "runs", "correction", "workshop", "access", "data", "version", "bench"}
	below := map[string]string{
		"runs": "list report compare history analyse readings", "correction": "show verify reapply undo carry",
		"workshop": "repair profile probe-place patches patch-readings", "access": "list pair end", "data": "export import",
	}
	var got []string
	for _, c := range commands.Commands().Commands() {
		if c.Name() == "settings" {
			continue // a topic of help
		}
		got = append(got, c.Name())
		var names []string
		for _, b := range append(c.Commands(), c) {
			if len(b.Short) > 62 {
				t.Errorf("%s: %d characters: %q", b.CommandPath(), len(b.Short), b.Short)
			}
			if b != c {
				names = append(names, b.Name())
			}
		}
		if strings.Join(names, " ") != below[c.Name()] || c.GroupID == "" {
			t.Errorf("%s: %v in group %q", c.Name(), names, c.GroupID)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	for _, old := range []string{"report", "prove", "sessions", "bench-check", "room"} {
		if code, _, errs := runOn(t, old); code != console.ExitUsage || !strings.Contains(errs, "Unknown command") {
			t.Errorf("%s: exit %d, %s", old, code, errs)
		}
	}
}
