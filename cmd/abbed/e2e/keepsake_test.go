package e2e_test

import (
	"bufio"
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/setup"
	"abbed/config"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/gcode/port"
	"abbed/probe/record"
)

// TestExportImport: what is kept goes through one file into another directory,
// and nothing is written over.
func TestExportImport(t *testing.T) {
	dir, file, to := memoryDir(t), filepath.Join(t.TempDir(), "all.jsonl"), filepath.Join(t.TempDir(), "new")
	s, _, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close() // the daemon's own; export goes beside it
	if err := s.Append(t.Context(), "r", record.Event{N: 1, Wall: time.Now(), Opened: &record.Opened{ID: "r", Version: record.Version}}); err != nil {
		t.Fatal(err)
	}
	say := func(want int, args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		if got := commands.Main(t.Context(), args, &out, &errs); got != want {
			t.Fatalf("abbed %v: exit %d, want %d: %s", args, got, want, errs.String())
		}
		return out.String() + errs.String()
	}
	say(console.ExitUsage, "data", "export", "--state", t.TempDir(), file)
	if _, err := os.Stat(file); err == nil {
		t.Fatal("a refused export leaves a file")
	}
	say(console.ExitDone, "data", "export", "--state", dir, file)
	say(console.ExitCould, "data", "export", "--state", dir, file)
	if text := say(console.ExitDone, "data", "export", "--state", dir, "-"); !strings.HasPrefix(text, `{"format":"abbed-export","version":1,`) {
		t.Errorf("%.80s", text)
	}
	say(console.ExitDone, "data", "import", "--state", to, file)
	say(console.ExitRefused, "data", "import", "--state", to, file)
	say(console.ExitCould, "data", "import", "--state", filepath.Join(to, "sub"), "/dev/null")
	bad := filepath.Join(t.TempDir(), "bad")
	if err := os.WriteFile(bad, []byte("no export\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	say(console.ExitCould, "data", "import", "--state", filepath.Join(to, "sub"), bad)
	if _, err := os.Stat(filepath.Join(to, "sub")); err == nil {
		t.Error("an import that failed leaves a directory")
	}
	say(console.ExitRefused, "data", "import", "--state", dir, file)
	other, notice, err := store.Open(t.Context(), to)
	if err != nil || notice.Text != "" {
		t.Fatalf("%+v %v", notice, err)
	}
	defer other.Close()
	if rows, err := other.Runs(t.Context()); err != nil || len(rows) != 1 || rows[0].ID != "r" {
		t.Errorf("%+v %v", rows, err)
	}
}

// TestMove: the data of a printer, its settings with it, goes to another machine, where
// set-up asks for nothing that was set on the first one.
func TestMove(t *testing.T) {
	here, there := t.TempDir(), t.TempDir()
	path, _ := plugged(t, "healthy")
	t.Setenv("HOME", here)
	run := func(args ...string) {
		t.Helper()
		if code, _, errs := runOn(t, args...); code != console.ExitDone {
			t.Fatalf("abbed %v: exit %d: %s", args, code, errs)
		}
	}
	etc := filepath.Join(here, "etc")
	run("setup", "left", "--json", "--untried", "--no-rule", "--dir", etc, "--port", path, "--bed", "0,0,235,235", "--set", "layer=0.3")
	s := loaded(t, filepath.Join(etc, "left.yaml"))
	livingHouse(t, func(h *config.Settings) {
		at := h.State
		*h = s
		h.State, h.Listen, h.Socket = at, "127.0.0.1:0", ""
		s.State = at
	})
	file := filepath.Join(here, "left.jsonl")
	run("data", "export", "--state", s.State, file)

	t.Setenv("HOME", there)
	t.Setenv("XDG_STATE_HOME", "")
	run("data", "import", "--state", console.StateOf("left", false), file)
	var out bytes.Buffer
	moved := &setup.Setup{Name: "left", Dir: filepath.Join(there, "etc"), In: bufio.NewReader(strings.NewReader("")), Untried: true, Errs: &out,
		Plugs: func() []port.Adapter {
			return []port.Adapter{{Device: "/dev/ttyUSB7", ByID: "/dev/serial/by-id/usb-y"}}
		}, Flags: pflag.NewFlagSet("setup", pflag.ContinueOnError)}
	config.AddFlags(moved.Flags, setup.SetupKeys...)
	if err := moved.Run(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	got := loaded(t, moved.Done.File)
	if got.Bed == nil || *got.Bed != (config.Rect{X1: 235, Y1: 235}) || got.Layer != 0.3 || got.Port != "/dev/serial/by-id/usb-y" || got.State != console.StateOf("left", false) || slices.Contains(moved.Done.Open, "bed") {
		t.Errorf("%+v, open %v", got, moved.Done.Open)
	}
}

// plugged starts a virtual printer and returns its port.
func plugged(t *testing.T, name string) (string, *bench.Printer) {
	t.Helper()
	sc, err := bench.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	p := bench.New(sc, bench.Options{Seed: 3, Speed: 20})
	path, stop, err := bench.Pty(p)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { _ = stop() })
	return path, p
}

func loaded(t *testing.T, file string) config.Settings {
	t.Helper()
	got, err := config.Load(config.Options{File: file, Environ: []string{}})
	if err != nil {
		t.Fatal(err)
	}
	return got
}
