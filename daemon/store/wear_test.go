package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// written returns the bytes that this process has written (Linux).
func written() (n int64) {
	b, err := os.ReadFile("/proc/self/io")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		if _, err := fmt.Sscanf(line, "wchar: %d", &n); err == nil {
			return n
		}
	}
	return 0
}

// What a touch costs a card: bytes handed to the system and syncs, one by one
// and in batches of five (half a second of the dense row).
func BenchmarkWear(b *testing.B) {
	for _, batch := range []int{1, 5} {
		b.Run(fmt.Sprintf("batch=%d", batch), func(b *testing.B) {
			s := open(b, b.TempDir())
			if err := s.Append(b.Context(), "a", events("a", 1)...); err != nil {
				b.Fatal(err)
			}
			n, bytes, syncs := int64(2), written(), s.Writes()
			for b.Loop() {
				var es []record.Event
				for range batch {
					es = append(es, record.Event{N: n, T: float64(n), Wall: time.Unix(n, 0), Touch: &record.Touch{N: n, T: float64(n), Place: record.Place{U: 123.4, V: 98.7}, Z: -0.0125, Series: record.SeriesSurvey, Spot: -1}})
					n++
				}
				if err := s.Append(b.Context(), "a", es...); err != nil {
					b.Fatal(err)
				}
			}
			touches := float64(n - 2)
			b.ReportMetric(float64(written()-bytes)/touches, "B/touch")
			b.ReportMetric(float64(s.Writes()-syncs)/touches, "syncs/touch")
			b.ReportMetric(float64(b.Elapsed().Microseconds())/touches, "us/touch")
		})
	}
}

// FuzzOpen opens whatever bytes are there: never a panic, and either a store
// that works or a clear error; what was there is kept.
func FuzzOpen(f *testing.F) {
	f.Add([]byte("SQLite format 3\x00"), []byte{})
	f.Add([]byte{}, []byte("7\x7f\x06\x82"))
	f.Fuzz(func(t *testing.T, file, wal []byte) {
		dir := t.TempDir()
		for name, b := range map[string][]byte{"": file, "-wal": wal} {
			if err := os.WriteFile(filepath.Join(dir, store.FileName+name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		s, notice, err := store.Open(t.Context(), dir)
		if err != nil {
			return
		}
		defer s.Close()
		if notice.Moved == "" && len(file) > 0 {
			if _, err := s.Runs(t.Context()); err != nil {
				t.Errorf("opened without a word, but %v", err)
			}
		}
		if err := s.Append(t.Context(), "z", events("z", 2)...); err != nil {
			t.Errorf("opened, but %v", err)
		}
	})
}
