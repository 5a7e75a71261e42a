package store_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/daemon/store/storetest"
)

// freeze writes testdata/schema-N.* for the version of today: once, when a
// version is released.
var freeze = flag.Bool("freeze", false, "write the store and the export of this version of the schema into testdata")

// frozen are the files that each version of the schema wrote.
func frozen(t *testing.T, suffix string) map[int]string {
	t.Helper()
	out := map[int]string{}
	for v := 1; v <= store.Versions; v++ {
		out[v] = filepath.Join("testdata", fmt.Sprintf("schema-%d.%s", v, suffix))
	}
	return out
}

// unpacked makes a state directory of a frozen store.
func unpacked(t *testing.T, file string) string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	if err := os.WriteFile(filepath.Join(dir, store.FileName), b, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// holdsAll checks that a store has what full put into it.
func holdsAll(t *testing.T, s *store.Store) {
	t.Helper()
	ctx := t.Context()
	for run, n := range map[string]int64{"a": 30, "b": 7} {
		if r, err := s.Load(ctx, run); err != nil || r.Last != n {
			t.Errorf("run %s: %d events of %d, %v", run, r.Last, n, err)
		}
	}
	run, body, err := s.Table(ctx, "d")
	if err != nil || run != "a" || string(body) != `{"digest":"d","text":"<&> \u2028 é"}` {
		t.Errorf("the table: %s %s %v", run, body, err)
	}
	if b, err := s.Analysis(ctx, "a"); err != nil || string(b) != `{"n":12345678901234567890}` {
		t.Errorf("the analysis: %s %v", b, err)
	}
	if a, ok, err := s.Applied(ctx); err != nil || !ok || a.State != store.Writing || a.Person != "the person at the bench" {
		t.Errorf("what is applied: %+v %v", a, err)
	}
	if o, err := s.Owed(ctx); err != nil || o.Why != "nothing" {
		t.Errorf("what is owed: %+v %v", o, err)
	}
	if text, _, err := s.Report(ctx, "settings"); err != nil || text != "M92 X80\n" {
		t.Errorf("the report: %q %v", text, err)
	}
	if rows, err := s.AuditTail(ctx, 9); err != nil || len(rows) != 1 || rows[0].Who != "w" || rows[0].Detail != "y" {
		t.Errorf("the audit: %+v %v", rows, err)
	}
	if err := s.Append(ctx, "gone", events("gone", 1)...); !errors.Is(err, store.ErrOrder) {
		t.Errorf("a dropped run begins again: %v", err)
	}
	for _, q := range []string{"UPDATE tables SET body = '{}'", "UPDATE audit SET who = 'x'", "UPDATE owed SET why = 'x'", "DELETE FROM events"} {
		if err := s.Exec(q); err == nil {
			t.Errorf("%s: let through", q)
		}
	}
}

// TestEachVersion opens the store that each version of the schema wrote, and
// reads in each version's export: everything is there, and goes out again.
func TestEachVersion(t *testing.T) {
	if *freeze {
		freezeNow(t)
	}
	for v, file := range frozen(t, "db.gz") {
		t.Run(fmt.Sprintf("store %d", v), func(t *testing.T) {
			dir := unpacked(t, file)
			before := userVersion(t, filepath.Join(dir, store.FileName))
			holdsAll(t, open(t, dir))
			if old := filepath.Join(dir, fmt.Sprintf("%s.schema-%d", store.FileName, v)); v < store.Versions && (before != v || userVersion(t, old) != v) {
				t.Errorf("no copy of version %d is kept", v)
			}
			var b bytes.Buffer
			if _, _, err := store.Export(t.Context(), dir, &b, time.Now()); err != nil {
				t.Fatal(err)
			}
			to := t.TempDir()
			if _, _, err := store.Import(t.Context(), to, &b); err != nil {
				t.Fatal(err)
			}
			holdsAll(t, open(t, to))
		})
	}
	for v, file := range frozen(t, "jsonl") {
		t.Run(fmt.Sprintf("export %d", v), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil || !strings.Contains(string(b[:200]), fmt.Sprintf(`"schema":%d`, v)) {
				t.Fatalf("%.200s %v", b, err)
			}
			to := t.TempDir()
			if _, _, err := store.Import(t.Context(), to, bytes.NewReader(b)); err != nil {
				t.Fatal(err)
			}
			s := open(t, to)
			holdsAll(t, s)
			if got := s.Pragma("user_version"); got != fmt.Sprint(store.Versions) {
				t.Errorf("version %s after the opening", got)
			}
		})
	}
}

// userVersion is the version of the schema that a file says.
func userVersion(t *testing.T, file string) (v int) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Error(err)
		return -1
	}
	return int(binary.BigEndian.Uint32(b[60:])) // SQLite file format 1.3
}

func freezeNow(t *testing.T) {
	dir, b := full(t)
	db, err := os.ReadFile(filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	var z bytes.Buffer
	w, _ := gzip.NewWriterLevel(&z, gzip.BestCompression)
	_, _ = w.Write(db)
	_ = w.Close()
	base := filepath.Join("testdata", fmt.Sprintf("schema-%d", store.Versions))
	if err := errors.Join(os.WriteFile(base+".db.gz", z.Bytes(), 0o644), os.WriteFile(base+".jsonl", b, 0o644)); err != nil {
		t.Fatal(err)
	}
}

// TestPowerCutInMigration has the power go at every single thing that is asked
// of the disk while an older store is brought up to date.
func TestPowerCutInMigration(t *testing.T) {
	for v, file := range frozen(t, "db.gz") {
		dir := unpacked(t, file)
		disk, rnd, points := storetest.Watch(t, dir), rand.New(rand.NewPCG(uint64(v), 3)), 0
		disk.On(func(op storetest.Op) storetest.Fault {
			if op.Kind == storetest.Read {
				return storetest.None
			}
			points++
			for _, r := range []*rand.Rand{nil, rnd, rnd} {
				s, notice, err := store.Open(context.Background(), disk.Image(t, r))
				if err != nil || notice != (store.Notice{}) {
					t.Fatalf("version %d, %s %s: %+v %v", v, op.Kind, op.File, notice, err)
				}
				holdsAll(t, s)
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			}
			return storetest.None
		})
		s, _, err := store.Open(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		disk.On(nil)
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if v < store.Versions && points < 5 {
			t.Errorf("version %d: %d points only", v, points)
		}
		t.Logf("from version %d: %d points", v, points)
	}
}
