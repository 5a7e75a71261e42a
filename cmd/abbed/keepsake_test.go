package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
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
