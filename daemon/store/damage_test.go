package store_test

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// copyStore copies the files of a store that is not being written, as a power
// cut leaves them; cut and flip alter the log's copy.
func copyStore(t *testing.T, from string, alter func(wal []byte) []byte) string {
	t.Helper()
	to := t.TempDir()
	for _, suffix := range []string{"", "-wal"} {
		b, err := os.ReadFile(filepath.Join(from, store.FileName+suffix))
		if err != nil {
			t.Fatal(err)
		}
		if suffix != "" {
			b = alter(b)
		}
		if err := os.WriteFile(filepath.Join(to, store.FileName+suffix), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return to
}

// A log that is cut anywhere, or has a flipped bit anywhere, opens as a prefix
// of what was written. In each copy what a sync had confirmed before the cut is
// there; more is impossible.
func TestTornLog(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	all := events("a", 60)
	size := []int64{0} // of the log, when so many events were confirmed
	for _, e := range all {
		if err := s.Append(t.Context(), "a", e); err != nil {
			t.Fatal(err)
		}
		wal, err := os.Stat(filepath.Join(dir, store.FileName+"-wal"))
		if err != nil || wal.Size() <= size[len(size)-1] {
			t.Fatalf("the log has %v bytes, %v: this test needs it unmerged", wal, err)
		}
		size = append(size, wal.Size())
	}
	rng := rand.New(rand.NewPCG(7, 7))
	seen := map[int]bool{}
	for k := range 120 {
		at := int64(rng.IntN(int(size[60])))
		torn := copyStore(t, dir, func(b []byte) []byte {
			if k%2 == 0 {
				return b[:at]
			}
			b[at] ^= 1 << rng.IntN(8)
			return b
		})
		c, notice, err := store.Open(t.Context(), torn)
		if err != nil || notice != (store.Notice{}) {
			t.Fatalf("cut or flipped at %d: %+v %v", at, notice, err)
		}
		got, err := c.Events(t.Context(), "a", 0)
		if err != nil || len(got) > len(all) || len(got) > 0 && !reflect.DeepEqual(got, all[:len(got)]) {
			t.Fatalf("cut or flipped at %d: no prefix: %d events, %v", at, len(got), err)
		}
		if n := len(got); n < 60 && at >= size[n+1] {
			t.Errorf("cut or flipped at %d: %d events only, and the next was whole at %d", at, n, size[n+1])
		}
		seen[len(got)] = true
		if err := c.Append(t.Context(), "b", events("b", 2)...); err != nil {
			t.Errorf("cut or flipped at %d: cannot go on: %v", at, err)
		}
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(seen) < 20 {
		t.Errorf("the cuts gave %d different prefixes only", len(seen))
	}
}

// filled makes a closed store with runs, all merged into the one file.
func filled(t *testing.T) (dir string, want []record.Event) {
	t.Helper()
	dir = t.TempDir()
	s := open(t, dir)
	want = events("a", 400)
	if err := errors.Join(s.Append(t.Context(), "a", want...), s.Audit(t.Context(), "w", "x", "y", time.Now())); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveApplied(t.Context(), applied(store.Writing)); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, want
}

// A damaged store is moved aside, whole, with a sentence, and a new one begun.
func TestDamaged(t *testing.T) {
	for name, damage := range map[string]func(b []byte) []byte{
		"text":           func([]byte) []byte { return []byte("this was a store once") },
		"zeros":          func(b []byte) []byte { return make([]byte, len(b)) },
		"header":         func(b []byte) []byte { copy(b, "SQLite format 9"); return b },
		"cut":            func(b []byte) []byte { return b[:len(b)/2] },
		"a page of junk": func(b []byte) []byte { fill(b[3*4096 : 4*4096]); return b },
		"the end":        func(b []byte) []byte { fill(b[len(b)-4096:]); return b },
		"another's file": func(b []byte) []byte { copy(b[68:72], "zzzz"); return b },
	} {
		t.Run(name, func(t *testing.T) {
			dir, _ := filled(t)
			file := filepath.Join(dir, store.FileName)
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			b = damage(b)
			if err := os.WriteFile(file, b, 0o600); err != nil {
				t.Fatal(err)
			}
			s, notice, err := store.Open(t.Context(), dir)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			if notice.Text == "" || notice.Hint == "" || !strings.HasPrefix(notice.Moved, dir) || !strings.Contains(notice.Text, notice.Moved) {
				t.Fatalf("notice %+v", notice)
			}
			kept, err := os.ReadFile(filepath.Join(notice.Moved, store.FileName))
			if err != nil || !reflect.DeepEqual(kept, b) {
				t.Errorf("what was moved aside is not what was there: %d bytes of %d, %v", len(kept), len(b), err)
			}
			if rows, err := s.Runs(t.Context()); err != nil || len(rows) != 0 {
				t.Errorf("%v %v", rows, err)
			}
			if err := s.Append(t.Context(), "b", events("b", 2)...); err != nil {
				t.Errorf("the new store: %v", err)
			}
		})
	}
}

func fill(b []byte) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
}

// A store that is gone, or emptied, is missed; a log without its file is kept.
func TestMissed(t *testing.T) {
	for name, lose := range map[string]func(file string) error{
		"removed": os.Remove,
		"emptied": func(file string) error { return os.Truncate(file, 0) },
	} {
		dir, _ := filled(t)
		if err := lose(filepath.Join(dir, store.FileName)); err != nil {
			t.Fatal(err)
		}
		s, notice, err := store.Open(t.Context(), dir)
		if err != nil || !strings.Contains(notice.Text, "is gone") || notice.Hint == "" {
			t.Errorf("%s: %+v %v", name, notice, err)
			continue
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		open(t, dir) // said once
	}
	dir := t.TempDir()
	s := open(t, dir)
	if err := s.Append(t.Context(), "a", events("a", 5)...); err != nil {
		t.Fatal(err)
	}
	torn := copyStore(t, dir, func(b []byte) []byte { return b })
	if err := os.Truncate(filepath.Join(torn, store.FileName), 0); err != nil {
		t.Fatal(err)
	}
	c, notice, err := store.Open(t.Context(), torn)
	if err != nil || notice.Moved == "" {
		t.Fatalf("%+v %v", notice, err)
	}
	defer c.Close()
	if info, err := os.Stat(filepath.Join(notice.Moved, store.FileName+"-wal")); err != nil || info.Size() == 0 {
		t.Errorf("the log that was left is lost: %v", err)
	}
}

// A flipped bit inside a value, which SQLite does not see: the run says so, and
// gives what came before.
func TestFlippedBit(t *testing.T) {
	dir, want := filled(t)
	file := filepath.Join(dir, store.FileName)
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	at := strings.Index(string(b), `"n":200,"t":200`)
	if at < 0 {
		t.Fatal("event 200 is not in the file as text")
	}
	b[at+len(`"n":200,"t":2`)] ^= 1 // t 200 becomes 210
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	s, notice, err := store.Open(t.Context(), dir)
	if err != nil || !strings.Contains(notice.Text, "1 entries are not what was written: event 200 of run a") || notice.Hint == "" || notice.Moved != "" {
		t.Fatalf("%+v %v", notice, err)
	}
	defer s.Close()
	r, err := s.Load(t.Context(), "a")
	if !errors.Is(err, store.ErrDamaged) || !strings.Contains(err.Error(), "event 200") {
		t.Errorf("%v, want ErrDamaged at event 200", err)
	}
	if r.Last != 199 || len(want) != 400 {
		t.Errorf("%d events are given, want the 199 before", r.Last)
	}
}

// A store of a later version is left alone.
func TestNewer(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	if err := s.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := store.Open(t.Context(), dir); !errors.Is(err, store.ErrNewer) {
		t.Errorf("%v, want ErrNewer", err)
	}
	after, err := os.ReadFile(filepath.Join(dir, store.FileName))
	if err != nil || !reflect.DeepEqual(before, after) {
		t.Errorf("the file was changed, %v", err)
	}
}
