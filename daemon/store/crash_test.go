package store_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

var (
	kills   = flag.Int("kills", 12, "how often TestKill kills the writer")
	writeTo = flag.String("write-to", "", "be the writer that TestKill kills")
)

func TestMain(m *testing.M) {
	flag.Parse()
	if *writeTo != "" {
		fmt.Fprintln(os.Stderr, writer(*writeTo))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// writer writes runs until it is killed, and says after each call what is
// confirmed: "event RUN N", "applied N".
func writer(dir string) error {
	ctx := context.Background()
	s, notice, err := store.Open(ctx, dir)
	if err != nil || notice != (store.Notice{}) {
		return fmt.Errorf("open: %+v %w", notice, err)
	}
	for k := 0; ; k++ {
		l, err := store.NewLog(s, record.Opened{}, time.Now)
		if err != nil {
			return err
		}
		fmt.Println("event", l.ID(), 1)
		for i := range 40 {
			e := record.Event{Touch: &record.Touch{Z: float64(i)}}
			if i%5 == 4 {
				e = record.Event{Gauging: &record.Gauging{Z: float64(i)}}
			}
			e, err = l.Append(e)
			if err != nil {
				return err
			}
			if e.Gauging != nil {
				fmt.Println("event", l.ID(), e.N)
			}
		}
		n, err := s.SaveApplied(ctx, applied(store.Writing))
		if err != nil {
			return err
		}
		fmt.Println("applied", n)
		if err := l.Close(); err != nil {
			return err
		}
	}
}

// kill -9 in mid-write, again and again on the same store: whatever was
// confirmed is there, in order, and the store opens without a word.
func TestKill(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	dir := t.TempDir()
	confirmed := map[string]int64{}
	var journal int64
	for range *kills {
		cmd := exec.Command(os.Args[0], "-write-to="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		cmd.Stderr = &said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		left := 1 + rand.IntN(60) // confirmations until it is killed
		for left > 0 && lines.Scan() {
			left--
			note(t, lines.Text(), confirmed, &journal)
		}
		// A moment later, so that it dies between two confirmations.
		time.Sleep(time.Duration(rand.IntN(3000)) * time.Microsecond)
		_ = cmd.Process.Kill()
		for lines.Scan() {
			note(t, lines.Text(), confirmed, &journal)
		}
		_ = cmd.Wait()
		if said.Len() > 0 {
			t.Fatal(said.String())
		}
		s := open(t, dir)
		for run, n := range confirmed {
			r, err := s.Load(t.Context(), run)
			if err != nil || r.Last < n {
				t.Errorf("run %s: event %d was confirmed, %d are there (%v)", run, n, r.Last, err)
			}
		}
		if a, _, err := s.Applied(t.Context()); err != nil || a.N < journal {
			t.Errorf("entry %d of the journal was confirmed, %d is the last (%v)", journal, a.N, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(confirmed) < 2 || journal == 0 {
		t.Errorf("too little happened: %d runs, %d entries", len(confirmed), journal)
	}
	t.Logf("%d kills, %d runs, %d entries of the journal", *kills, len(confirmed), journal)
}

func note(t *testing.T, line string, confirmed map[string]int64, journal *int64) {
	t.Helper()
	var run string
	var n int64
	if _, err := fmt.Sscanf(line, "event %s %d", &run, &n); err == nil {
		confirmed[run] = n
		return
	}
	if _, err := fmt.Sscanf(line, "applied %d", &n); err != nil {
		t.Fatalf("the writer says %q", line)
	}
	*journal = n
}
