package e2e_test

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/serve"
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
		ended <- serve.Service{Settings: s, Load: func() (config.Settings, error) { return next, nil }, Errs: &log}.Run(ctx)
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
	open := func() string {
		b, err := os.ReadFile(filepath.Join(runtime, "starts"))
		if err != nil {
			t.Error(err)
		}
		return strings.TrimSpace(string(b))
	}
	if n := open(); n != "1" {
		t.Errorf("while it runs, %q starts are open, want this one", n)
	}
	end()
	hears(t, from, "STOPPING=1")
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if n := open(); n != "0" {
		t.Errorf("after a good end %q starts count as failed", n)
	}
	if !strings.Contains(log.String(), `msg="settings reloaded" changed=layer`) {
		t.Errorf("the log says:\n%s", &log)
	}
}
