package process

import (
	"bytes"
	"context"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// TestWatchdogStarves: signs of life come three in a period while the daemon
// answers, none while it is stuck, and again afterwards.
func TestWatchdogStarves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		signs, stuck := 0, make(chan struct{}, 1) // full while the daemon is stuck
		var log bytes.Buffer
		m := Manager{every: 30 * time.Second, log: slog.New(slog.NewTextHandler(&log, nil)), say: func(s string) {
			mu.Lock()
			defer mu.Unlock()
			if s == "WATCHDOG=1" {
				signs++
			}
		}}
		ctx, end := context.WithCancel(t.Context())
		var own sync.WaitGroup
		own.Go(func() { m.Watch(ctx, func() { stuck <- struct{}{}; <-stuck }) })
		count := func(d time.Duration) int {
			mu.Lock()
			before := signs
			mu.Unlock()
			time.Sleep(d)
			mu.Lock()
			defer mu.Unlock()
			return signs - before
		}
		time.Sleep(time.Second)
		if n := count(time.Minute); n != 6 {
			t.Errorf("%d signs of life in a minute, want 6", n)
		}
		stuck <- struct{}{}
		count(11 * time.Second) // the look that began before
		if n := count(5 * time.Minute); n != 0 {
			t.Errorf("%d signs of life while it was stuck", n)
		}
		<-stuck
		if n := count(time.Minute); n != 6 {
			t.Errorf("%d signs of life in a minute afterwards, want 6", n)
		}
		if n := strings.Count(log.String(), "level=ERROR"); n != 1 {
			t.Errorf("the log holds %d errors, want one:\n%s", n, &log)
		}
		end()
		own.Wait()
	})
}

// TestBackOff: starts that fail one after another wait longer and longer, up to
// 5 minutes; one that lasts lets the count begin anew, and so does one that was
// ended while it waited.
func TestBackOff(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		var told []string
		m := Manager{say: func(s string) { told = append(told, s) }}
		s := Starts{file: filepath.Join(dir, "starts"), log: slog.New(slog.DiscardHandler)}
		took := func(ctx context.Context) time.Duration {
			began := time.Now()
			_ = s.Hold(ctx, m)
			return time.Since(began)
		}
		for i, want := range []time.Duration{0, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300} {
			if got := took(t.Context()); got != want*time.Second {
				t.Errorf("start %d waited %v, want %v", i+1, got, want*time.Second)
			}
		}
		if want := "EXTEND_TIMEOUT_USEC=330000000\n"; !strings.HasPrefix(told[len(told)-1], want) {
			t.Errorf("the service manager was told %q, want %q first", told[len(told)-1], want)
		}
		s.Lasting(t.Context()) // ten minutes
		if got := took(t.Context()); got != 0 {
			t.Errorf("after a start that lasted: %v", got)
		}
		s.write(40)
		ctx, end := context.WithTimeout(t.Context(), 7*time.Second)
		defer end()
		if got := took(ctx); got != 7*time.Second {
			t.Errorf("ended while it waited: after %v", got)
		}
		if got := took(t.Context()); got != 0 {
			t.Errorf("after one that was ended while it waited: %v", got)
		}
	})
}
