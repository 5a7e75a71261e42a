package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"abbed/config"
)

// said collects what a service manager is told, on a socket of its own.
func said(t *testing.T) <-chan string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("NOTIFY_SOCKET", path)
	out := make(chan string, 100)
	var reading sync.WaitGroup
	reading.Go(func() {
		b := make([]byte, 4096)
		for {
			n, err := l.Read(b)
			if err != nil {
				return
			}
			out <- string(b[:n])
		}
	})
	t.Cleanup(func() { l.Close(); reading.Wait() })
	return out
}

// hears waits for a state.
func hears(t *testing.T, from <-chan string, want string) string {
	t.Helper()
	late := time.NewTimer(20 * time.Second)
	defer late.Stop()
	for {
		select {
		case s := <-from:
			if strings.Contains(s, want) {
				return s
			}
		case <-late.C:
			t.Fatalf("the service manager never heard %q", want)
		}
	}
}

// heedHangUps has SIGHUP heeded where the tests were started with it ignored
// (nohup), which the program itself respects.
func heedHangUps(t *testing.T) {
	t.Helper()
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	t.Cleanup(func() { signal.Stop(c) })
}

// TestServiceManager: what a service manager hears of serve, from the start to
// the end (sd_notify(3) names the words).
func TestServiceManager(t *testing.T) {
	heedHangUps(t)
	from := said(t)
	t.Setenv("WATCHDOG_USEC", "300000")
	t.Setenv("WATCHDOG_PID", fmt.Sprint(os.Getpid()))
	runtime := t.TempDir()
	t.Setenv("RUNTIME_DIRECTORY", runtime)
	s := config.Default()
	s.Port, s.Listen, s.State = "tcp://127.0.0.1:1", "127.0.0.1:0", memoryDir(t)
	next := s
	next.Layer = 0.25
	var log bytes.Buffer
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- service{settings: s, load: func() (config.Settings, error) { return next, nil }, errs: &log}.run(ctx)
	}()
	if ready := hears(t, from, "READY=1"); !strings.Contains(ready, "STATUS=serving http://127.0.0.1:") {
		t.Errorf("at the start: %q", ready)
	}
	hears(t, from, "WATCHDOG=1")
	if err := syscall.Kill(os.Getpid(), syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	if r := hears(t, from, "RELOADING=1"); !strings.Contains(r, "\nMONOTONIC_USEC=") {
		t.Errorf("at a reload: %q", r)
	}
	hears(t, from, "READY=1")
	hears(t, from, "WATCHDOG=1")
	if count := startsOf(manager{say: func(string) {}}, slog.Default()); count.read() != 1 {
		t.Errorf("while it runs, %d starts are open, want this one", count.read())
	}
	end()
	hears(t, from, "STOPPING=1")
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if count := startsOf(manager{say: func(string) {}}, slog.Default()); count.read() != 0 {
		t.Errorf("after a good end %d starts count as failed", count.read())
	}
	if !strings.Contains(log.String(), `msg="settings reloaded" changed=layer`) {
		t.Errorf("the log says:\n%s", &log)
	}
}

// TestWatchdogStarves: signs of life come three in a period while the daemon
// answers, none while it is stuck, and again afterwards.
func TestWatchdogStarves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		signs, stuck := 0, make(chan struct{}, 1) // full while the daemon is stuck
		var log bytes.Buffer
		m := manager{every: 30 * time.Second, log: slog.New(slog.NewTextHandler(&log, nil)), say: func(s string) {
			mu.Lock()
			defer mu.Unlock()
			if s == "WATCHDOG=1" {
				signs++
			}
		}}
		ctx, end := context.WithCancel(t.Context())
		var own sync.WaitGroup
		own.Go(func() { m.watch(ctx, func() { stuck <- struct{}{}; <-stuck }) })
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
		m := manager{say: func(s string) { told = append(told, s) }}
		s := starts{file: filepath.Join(dir, "starts"), log: slog.New(slog.DiscardHandler)}
		took := func(ctx context.Context) time.Duration {
			began := time.Now()
			_ = s.hold(ctx, m)
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
		s.lasting(t.Context()) // ten minutes
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
