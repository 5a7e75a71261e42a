package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
)

// full is a store with something in every table, and its export.
func full(t testing.TB) (dir string, export []byte) {
	t.Helper()
	dir = t.TempDir()
	s, _, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx, now := t.Context(), time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	es := events("gone", 3)
	if err := errors.Join(
		s.Append(ctx, "a", events("a", 30)...), s.Append(ctx, "b", events("b", 7)...), s.Append(ctx, "gone", es...),
		s.SaveTable(ctx, "d", "a", []byte(`{"digest":"d","text":"<&> \u2028 é"}`)), s.SaveAnalysis(ctx, "a", []byte(`{"n":12345678901234567890}`)),
		s.SetOwed(ctx, nil, "nothing"), s.SaveReport(ctx, "settings", "M92 X80\n", now),
		s.Audit(ctx, "w", "x", "y", now), s.Drop(ctx, "gone", "age"),
	); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveApplied(ctx, applied(store.Writing)); err != nil {
		t.Fatal(err)
	}
	// The daemon goes on meanwhile: the store stays open.
	var b bytes.Buffer
	n, notice, err := store.Export(ctx, dir, &b, now)
	if err != nil || notice != (store.Notice{}) || n != int64(bytes.Count(b.Bytes(), []byte("\n"))-2) {
		t.Fatalf("%d rows, %v", n, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, b.Bytes()
}

// What is exported, imported and exported again is the same to the byte, and the
// store reads as the first one did.
func TestExportImport(t *testing.T) {
	dir, b := full(t)
	to := filepath.Join(t.TempDir(), "new")
	n, notice, err := store.Import(t.Context(), to, bytes.NewReader(b))
	if err != nil || notice != (store.Notice{}) || n < 40 {
		t.Fatalf("%d rows, %v", n, err)
	}
	var again bytes.Buffer
	if _, _, err := store.Export(t.Context(), to, &again, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)); err != nil || !bytes.Equal(again.Bytes(), b) {
		t.Errorf("the second export differs, %v", err)
	}
	was, is := open(t, dir), open(t, to)
	for _, run := range []string{"a", "b"} {
		x, errX := was.Load(t.Context(), run)
		y, errY := is.Load(t.Context(), run)
		if errX != nil || errY != nil || !reflect.DeepEqual(x, y) {
			t.Errorf("run %s: %v %v", run, errX, errY)
		}
	}
	if a, ok, err := is.Applied(t.Context()); err != nil || !ok || a.State != store.Writing {
		t.Errorf("%+v %v", a, err)
	}
	if err := is.Append(t.Context(), "gone", events("gone", 1)...); !errors.Is(err, store.ErrOrder) {
		t.Errorf("a dropped run begins again: %v", err)
	}
	if info, err := os.Stat(filepath.Join(to, store.FileName)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
}

// An import that is refused leaves nothing behind.
func TestImportRefused(t *testing.T) {
	dir, b := full(t)
	line := func(k int, old, new string) []byte {
		lines := bytes.SplitAfter(b, []byte("\n"))
		if !bytes.Contains(lines[k], []byte(old)) {
			t.Fatalf("line %d has no %q: %s", k, old, lines[k])
		}
		lines[k] = bytes.Replace(lines[k], []byte(old), []byte(new), 1)
		return bytes.Join(lines, nil)
	}
	for name, c := range map[string]struct {
		file []byte
		want error
		says string
	}{
		"empty":            {nil, store.ErrDamaged, "line 1"},
		"something else":   {[]byte("x,y,z\n1,2,3\n"), store.ErrDamaged, "no file of abbed data export"},
		"cut short":        {b[:len(b)/2], store.ErrDamaged, "cut short"},
		"no footer":        {b[:bytes.LastIndex(b[:len(b)-1], []byte("\n"))+1], store.ErrDamaged, "cut short"},
		"more after it":    {append(bytes.Clone(b), '\n'), store.ErrDamaged, "follows"},
		"a row is missing": {append(bytes.Clone(b[:bytes.IndexByte(b, '\n')+1]), b[len(b)-len(lastLine(b)):]...), store.ErrDamaged, "checksum"},
		"a later format":   {line(0, `"version":1`, `"version":2`), store.ErrNewer, "later version"},
		"a later schema":   {line(0, `"schema":2`, `"schema":77`), store.ErrNewer, "later version"},
		"another table":    {line(1, `"table":"meta"`, `"table":"sqlite_schema"`), store.ErrDamaged, "no table"},
		"another column":   {line(1, `"key"`, `"key) --"`), store.ErrDamaged, "columns"},
		"a value":          {bytes.Replace(b, []byte(`"body":"{\"n\":2,`), []byte(`"body":"{\"n\":3,`), 1), store.ErrDamaged, "checksum"},
	} {
		t.Run(name, func(t *testing.T) {
			to := t.TempDir()
			_, _, err := store.Import(t.Context(), to, bytes.NewReader(c.file))
			if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v", err)
			}
			if left, _ := filepath.Glob(filepath.Join(to, "*")); len(left) != 1 { // the lock
				t.Errorf("left behind: %v", left)
			}
		})
	}
	if _, _, err := store.Import(t.Context(), dir, bytes.NewReader(b)); !errors.Is(err, os.ErrExist) {
		t.Errorf("over a store that is there: %v", err)
	}
	open(t, t.TempDir())
	held := t.TempDir()
	s := open(t, held)
	if _, _, err := store.Import(t.Context(), held, bytes.NewReader(b)); !errors.Is(err, store.ErrInUse) {
		t.Errorf("into a directory in use: %v", err)
	}
	_ = s
	if _, _, err := store.Export(t.Context(), t.TempDir(), &bytes.Buffer{}, time.Now()); !errors.Is(err, store.ErrNone) {
		t.Errorf("nothing to export: %v", err)
	}
}

func lastLine(b []byte) []byte { return b[bytes.LastIndexByte(b[:len(b)-1], '\n')+1:] }

// Every bit of an export counts: one that is flipped is found, wherever it is.
func TestImportFlippedBit(t *testing.T) {
	_, b := full(t)
	for at := 7; at < len(b); at += len(b)/60 + 1 {
		spoiled := bytes.Clone(b)
		spoiled[at] ^= 4
		if _, _, err := store.Import(t.Context(), t.TempDir(), bytes.NewReader(spoiled)); err == nil {
			t.Errorf("byte %d of %d, %q for %q: not noticed", at, len(b), spoiled[at], b[at])
		}
	}
}

// A row that is spoilt in the store goes out as it stands, and comes in as it
// stands: it is named both times and when the store is opened, and everything else
// is whole. Only where what the printer holds cannot be told, that is left out.
func TestExportSpoilt(t *testing.T) {
	for name, c := range map[string]struct {
		spoil, names string
		applied      bool
		lastOfA      int64
	}{
		"an event":                    {`UPDATE events SET body = replace(body, '"n":20', '"n":21') WHERE run = 'a' AND n = 20`, "event 20 of run a", true, 19},
		"a report":                    {`UPDATE reports SET text = 'M92 X81'`, "report settings", true, 30},
		"the log of changes":          {`UPDATE audit SET who = 'nobody'`, "the log of changes, row 1", true, 30},
		"an old entry of the journal": {`UPDATE applied SET body = replace(body, 'bench', 'beach') WHERE n = 1`, "the journal of what is applied, entry 1", true, 30},
		"the journal's last entry":    {`UPDATE applied SET body = replace(body, 'bench', 'beach') WHERE n = 2`, "the journal of what is applied, entry 2", false, 30},
		"what is owed":                {`UPDATE owed SET why = 'something'`, "what was owed, entry 1", false, 30},
	} {
		t.Run(name, func(t *testing.T) {
			dir, _ := full(t)
			s := open(t, dir)
			if _, err := s.SaveApplied(t.Context(), applied(store.Kept)); err != nil {
				t.Fatal(err)
			}
			for _, q := range []string{"DROP TRIGGER events_never_change", "DROP TRIGGER applied_never_changes", "DROP TRIGGER owed_never_changes", "DROP TRIGGER audit_never_changes"} {
				if err := s.Exec(q); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Exec(c.spoil); err != nil {
				t.Fatal(err)
			}
			if err := s.PutRulesBack(); err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			_, out, err := store.Export(t.Context(), dir, &b, time.Now())
			if err != nil || !strings.Contains(out.Text, c.names) {
				t.Fatalf("the export says %+v, %v", out, err)
			}
			to := filepath.Join(t.TempDir(), "new")
			_, in, err := store.Import(t.Context(), to, &b)
			if err != nil || !strings.Contains(in.Text, c.names) || strings.Contains(in.Hint, "bed map") == c.applied {
				t.Fatalf("the import says %+v, %v", in, err)
			}
			is, opened, err := store.Open(t.Context(), to)
			if err != nil || opened.Moved != "" || c.applied != strings.Contains(opened.Text, c.names) {
				t.Fatalf("opened, it says %+v, %v", opened, err)
			}
			defer is.Close()
			if r, err := is.Load(t.Context(), "a"); r.Last != c.lastOfA || (err != nil) != (c.lastOfA < 30) {
				t.Errorf("run a up to %d, %v", r.Last, err)
			}
			if r, err := is.Load(t.Context(), "b"); err != nil || r.Last != 7 {
				t.Errorf("run b up to %d, %v", r.Last, err)
			}
			if a, there, err := is.Applied(t.Context()); err != nil || there != c.applied || there && a.State != store.Kept {
				t.Errorf("applied: %+v %v %v", a, there, err)
			}
		})
	}
}

// FuzzImport: no file makes an import panic, or leaves half a store.
func FuzzImport(f *testing.F) {
	_, b := full(f)
	f.Add(b)
	f.Add(b[:200])
	f.Add([]byte(`{"format":"abbed-export","version":1,"schema":1,"at":"2026-03-01T09:00:00Z"}` + "\n" + `{"table":"meta","row":{"key":null,"value":[1]}}` + "\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		dir := t.TempDir()
		_, _, err := store.Import(t.Context(), dir, bytes.NewReader(b))
		_, there := os.Stat(filepath.Join(dir, store.FileName))
		if (err == nil) != (there == nil) {
			t.Errorf("%v, and the store: %v", err, there)
		}
	})
}
