package main

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

	"abbed/config"
	"abbed/daemon/store"
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
		if got := Main(t.Context(), args, &out, &errs); got != want {
			t.Fatalf("abbed %v: exit %d, want %d: %s", args, got, want, errs.String())
		}
		return out.String() + errs.String()
	}
	say(exitUsage, "data", "export", "--state", t.TempDir(), file)
	if _, err := os.Stat(file); err == nil {
		t.Fatal("a refused export leaves a file")
	}
	say(exitDone, "data", "export", "--state", dir, file)
	say(exitCould, "data", "export", "--state", dir, file)
	if text := say(exitDone, "data", "export", "--state", dir, "-"); !strings.HasPrefix(text, `{"format":"abbed-export","version":1,`) {
		t.Errorf("%.80s", text)
	}
	say(exitDone, "data", "import", "--state", to, file)
	say(exitRefused, "data", "import", "--state", to, file)
	say(exitCould, "data", "import", "--state", filepath.Join(to, "sub"), "/dev/null")
	bad := filepath.Join(t.TempDir(), "bad")
	if err := os.WriteFile(bad, []byte("no export\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	say(exitCould, "data", "import", "--state", filepath.Join(to, "sub"), bad)
	if _, err := os.Stat(filepath.Join(to, "sub")); err == nil {
		t.Error("an import that failed leaves a directory")
	}
	say(exitRefused, "data", "import", "--state", dir, file)
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
		if code, _, errs := runOn(t, args...); code != exitDone {
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
	run("data", "import", "--state", stateOf("left", false), file)
	var out bytes.Buffer
	moved := &setup{name: "left", dir: filepath.Join(there, "etc"), in: bufio.NewReader(strings.NewReader("")), untried: true, errs: &out,
		plugs: func() []port.Adapter {
			return []port.Adapter{{Device: "/dev/ttyUSB7", ByID: "/dev/serial/by-id/usb-y"}}
		}, flags: pflag.NewFlagSet("setup", pflag.ContinueOnError)}
	config.AddFlags(moved.flags, setupKeys...)
	if err := moved.run(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	got := loaded(t, moved.done.File)
	if got.Bed == nil || *got.Bed != (config.Rect{X1: 235, Y1: 235}) || got.Layer != 0.3 || got.Port != "/dev/serial/by-id/usb-y" || got.State != stateOf("left", false) || slices.Contains(moved.done.Open, "bed") {
		t.Errorf("%+v, open %v", got, moved.done.Open)
	}
}
