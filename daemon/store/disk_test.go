package store_test

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/daemon/store/storetest"
	"abbed/probe/record"
)

// flips is how many bits TestAnyFlippedBit flips, one at a time.
var flips = flag.Int("flips", 150, "how many bits TestAnyFlippedBit flips")

// TestFaultyDisk has the disk fail at each thing that each call asks of it: the
// call says so in a sentence with a remedy, and nothing of it, or all, is there;
// what was confirmed before stays, and once the disk is well the store goes on.
func TestFaultyDisk(t *testing.T) {
	for name, f := range map[string]struct {
		fault storetest.Fault
		want  error
		says  string
	}{
		"full":        {storetest.Full, store.ErrFull, "the disk is full"},
		"short write": {storetest.Short, store.ErrFull, "the disk is full"},
		"read-only":   {storetest.ReadOnly, store.ErrReadOnly, "cannot be written"},
		"device":      {storetest.IO, store.ErrDisk, "the disk or the card reports an error"},
	} {
		for what, call := range calls {
			t.Run(name+", "+what, func(t *testing.T) {
				dir := memoryDir(t)
				disk := storetest.Watch(t, dir)
				s := open(t, dir)
				if err := s.Append(t.Context(), "a", events("a", 3)...); err != nil {
					t.Fatal(err)
				}
				struck := 0
				for at := 1; ; at++ {
					n, hit := 0, false
					disk.On(func(op storetest.Op) storetest.Fault {
						if op.Kind == storetest.Write || op.Kind == storetest.Sync && f.fault == storetest.IO {
							if n++; n == at {
								hit = true
								return f.fault
							}
						}
						return storetest.None
					})
					err := call(t.Context(), s, int64(at))
					disk.On(nil)
					if !hit {
						if err != nil {
							t.Errorf("a well disk, but %v", err)
						}
						break
					}
					struck++
					if !errors.Is(err, f.want) || !strings.Contains(err.Error(), f.says) || store.Hint(err) == "" || errors.Is(err, store.ErrDamaged) {
						t.Errorf("at %d: %v, hint %q", at, err, store.Hint(err))
					}
					if got, err := s.Events(t.Context(), "a", 0); err != nil || len(got) != 3 {
						t.Errorf("at %d: %d events of 3, %v", at, len(got), err)
					}
				}
				if struck == 0 {
					t.Error("the disk never failed")
				}
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
				s = open(t, dir) // without a word
				if got, err := s.Events(t.Context(), "a", 0); err != nil || len(got) != 3 {
					t.Errorf("opened again: %d events of 3, %v", len(got), err)
				}
			})
		}
	}
}

// calls are what is written, each as one call; n tells one from the next.
var calls = map[string]func(context.Context, *store.Store, int64) error{
	"events": func(ctx context.Context, s *store.Store, n int64) error {
		run := fmt.Sprintf("r%d", n)
		return s.Append(ctx, run, events(run, 4)...)
	},
	"applied": func(ctx context.Context, s *store.Store, _ int64) error {
		_, err := s.SaveApplied(ctx, applied(store.Writing))
		return err
	},
	"owed": func(ctx context.Context, s *store.Store, _ int64) error {
		return s.SetOwed(ctx, []record.Switch{record.SwitchLimits}, "why")
	},
	"table": func(ctx context.Context, s *store.Store, _ int64) error {
		return s.SaveTable(ctx, "d", "a", []byte(`{}`))
	},
	"report": func(ctx context.Context, s *store.Store, _ int64) error {
		return s.SaveReport(ctx, "r", "t", time.Now())
	},
	"audit": func(ctx context.Context, s *store.Store, _ int64) error {
		return s.Audit(ctx, "w", "x", "y", time.Now())
	},
}

// A disk that fails while the store is opened or read is not taken for a damaged
// store: nothing is moved, and once it is well all is there. Neither is a
// question that was given up.
func TestOpenOnAFaultyDisk(t *testing.T) {
	dir, _ := filled(t)
	disk := storetest.Watch(t, dir)
	files := func() (out []string) {
		names, _ := filepath.Glob(filepath.Join(dir, "*"))
		for _, n := range names {
			out = append(out, filepath.Base(n))
		}
		return out
	}
	for name, f := range map[string]struct {
		fault storetest.Fault
		kind  storetest.Kind
		want  error
	}{
		"cannot be read":    {storetest.IO, storetest.Read, store.ErrDisk},
		"cannot be opened":  {storetest.IO, storetest.Open, store.ErrReadOnly},
		"cannot be written": {storetest.ReadOnly, storetest.Write, store.ErrReadOnly},
		"is full":           {storetest.Full, storetest.Write, store.ErrFull},
	} {
		failed := 0
		for at := 1; at < 60; at += 1 + at/8 {
			n := 0
			disk.On(func(op storetest.Op) storetest.Fault {
				if op.Kind != f.kind {
					return storetest.None
				}
				if n++; n == at {
					return f.fault
				}
				return storetest.None
			})
			s, notice, err := store.Open(t.Context(), dir)
			disk.On(nil)
			if err == nil {
				if notice != (store.Notice{}) {
					t.Errorf("%s at %d: %+v", name, at, notice)
				}
				if err := s.Close(); err != nil {
					t.Error(err)
				}
				continue
			}
			failed++
			if !errors.Is(err, f.want) || errors.Is(err, store.ErrDamaged) || store.Hint(err) == "" {
				t.Errorf("%s at %d: %v", name, at, err)
			}
			if m, _ := filepath.Glob(filepath.Join(dir, "damaged-*")); len(m) > 0 {
				t.Fatalf("%s at %d: moved aside", name, at)
			}
		}
		if failed == 0 && f.kind != storetest.Write {
			t.Errorf("%s: it was always opened", name)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := store.Open(gone, dir); !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrDamaged) {
		t.Errorf("given up: %v", err)
	}
	s := open(t, dir)
	if got, err := s.Events(t.Context(), "a", 0); err != nil || len(got) != 400 {
		t.Errorf("%d events of 400, %v; files %v", len(got), err, files())
	}
	if _, err := s.Events(gone, "a", 0); !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrDamaged) {
		t.Errorf("a question that was given up: %v", err)
	}
	if _, _, err := s.Table(gone, "d"); !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrDamaged) {
		t.Errorf("a question that was given up: %v", err)
	}
}

// derived are columns that nothing reads: they repeat what the body says.
var derived = regexp.MustCompile(`,"kind":"[^"]*","n"|,"digest":"[^"]*","n"|,"state":"[^"]*","sum"`)

// exportOf is everything in a store, but what no checksum guards.
func exportOf(t *testing.T, dir string) []byte {
	t.Helper()
	var b, out bytes.Buffer
	if _, _, err := store.Export(t.Context(), dir, &b, time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	for line := range bytes.Lines(b.Bytes()) {
		if !bytes.HasPrefix(line, []byte(`{"table":"meta"`)) && !bytes.HasPrefix(line, []byte(`{"table":"dropped"`)) && !bytes.HasPrefix(line, []byte(`{"end"`)) {
			out.Write(derived.ReplaceAll(line, nil))
		}
	}
	return out.Bytes()
}

// TestAnyFlippedBit flips any bit of the file: either a notice says so (the whole
// moved aside, or the entries named), or everything reads as it was written.
// Never is something else read in silence.
func TestAnyFlippedBit(t *testing.T) {
	dir, _ := full(t)
	want := exportOf(t, dir)
	file, err := os.ReadFile(filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	rnd, seen := rand.New(rand.NewPCG(11, 4)), map[string]int{}
	for range *flips {
		at, bit := rnd.IntN(len(file)), rnd.IntN(8)
		if file[at] == 0 && rnd.IntN(4) > 0 {
			continue // most of what is empty
		}
		b := bytes.Clone(file)
		b[at] ^= 1 << bit
		to := memoryDir(t)
		if err := os.WriteFile(filepath.Join(to, store.FileName), b, 0o600); err != nil {
			t.Fatal(err)
		}
		s, notice, err := store.Open(t.Context(), to)
		switch {
		case err != nil && errors.Is(err, store.ErrNewer):
			seen["another version"]++ // left as it is
			continue
		case err != nil:
			t.Errorf("byte %d, bit %d: %v", at, bit, err)
			continue
		case notice.Moved != "":
			seen["moved aside"]++
		case notice.Text != "":
			seen["entries named"]++
		default:
			seen["as written"]++
			if got := exportOf(t, to); !bytes.Equal(got, want) {
				t.Errorf("byte %d, bit %d: something else is read, in silence: %s", at, bit, firstDifference(got, want))
			}
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("%v", seen)
	if *flips >= 100 && (seen["moved aside"] == 0 || seen["entries named"] == 0) {
		t.Errorf("%v: too little was seen", seen)
	}
}

// firstDifference is the first line in which two exports differ.
func firstDifference(a, b []byte) string {
	x, y := strings.Split(string(a), "\n"), strings.Split(string(b), "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return fmt.Sprintf("%q for %q", x[i], y[i])
		}
	}
	return fmt.Sprintf("%d lines for %d", len(x), len(y))
}
