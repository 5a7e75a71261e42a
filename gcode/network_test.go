package gcode_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
	"abbed/probe/record"
)

// needed returns the path of a program of the system. Without it the test is
// skipped; not in CI, where it has to be there.
func needed(t testing.TB, name, debian string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/sbin", "/usr/bin") {
		if path, err := exec.LookPath(filepath.Join(dir, name)); err == nil {
			return path
		}
	}
	absent(t, name, debian)
	return ""
}

func absent(t testing.TB, what, debian string) {
	t.Helper()
	const text = "%s is not here: install Debian's package %s"
	if os.Getenv("CI") == "true" {
		t.Fatalf(text, what, debian)
	}
	t.Skipf(text, what, debian)
}

// freePort is a TCP port of the loopback on which nobody listens.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// servers put a serial line on the network, each as its manual has it
// (ser2net(8) and ser2net.yaml(5), socat(1)).
var servers = []struct {
	name, debian string
	args         func(t *testing.T, port int, line string) []string
}{
	{"ser2net", "ser2net", func(t *testing.T, port int, line string) []string {
		file := filepath.Join(t.TempDir(), "ser2net.yaml")
		text := fmt.Sprintf("connection: &printer\n  accepter: tcp,127.0.0.1,%d\n  connector: serialdev,%s,115200n81,local\n", port, line)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return []string{"-n", "-u", "-c", file}
	}},
	{"socat", "socat", func(t *testing.T, port int, line string) []string {
		return []string{fmt.Sprintf("TCP-LISTEN:%d,bind=127.0.0.1,reuseaddr,fork", port), line + ",raw,echo=0"}
	}},
}

// Behind a serial server, as with a device: the printer is greeted, homes,
// touches, and is stopped past an unanswered command; when the server goes the
// session is lost, and a new one is had when it comes back.
func TestSerialServers(t *testing.T) {
	for _, sv := range servers {
		t.Run(sv.name, func(t *testing.T) {
			t.Parallel()
			program := needed(t, sv.name, sv.debian)
			p := bench.New(steady(t), bench.Options{Seed: 4, Speed: 20})
			line, stop, err := bench.Pty(p)
			if err != nil {
				t.Skipf("no pseudo-terminals here: %v", err)
			}
			defer stop()
			at := freePort(t)
			end := served(t, program, sv.args(t, at, line))
			connect := func() *gcode.Session { t.Helper(); return behind(t, at) }
			s := connect()
			touches(t, s)
			stopped(t, s, p)
			s.Close()
			p.Restart()
			s = connect()
			touches(t, s)
			end()
			select {
			case <-s.Done():
				if !errors.Is(s.Err(), gcode.ErrLost) {
					t.Errorf("the server is gone: %v", s.Err())
				}
			case <-time.After(20 * time.Second):
				t.Error("the server is gone, and the session lives")
			}
			defer served(t, program, sv.args(t, at, line))()
			connect()
		})
	}
}

// served runs a serial server; end ends it and everything that it started.
func served(t *testing.T, program string, args []string) (end func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	c := exec.CommandContext(ctx, program, args...)
	var said strings.Builder
	c.Stdout, c.Stderr, c.WaitDelay = &said, &said, 5*time.Second
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	if err := c.Start(); err != nil {
		cancel()
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = c.Wait(); close(done) }()
	end = func() {
		cancel()
		<-done
	}
	t.Cleanup(func() {
		end()
		if t.Failed() {
			t.Logf("%s said: %s", program, said.String())
		}
	})
	return end
}

// behind connects to the printer behind the server, as often as is needed: the
// server may be starting, or may not have noticed yet that the connection before
// was closed, and then refuses another. The session keeps real time: on a fast clock
// a busy machine's hop through the server passes for a printer that says no more.
func behind(t *testing.T, at int) *gcode.Session {
	t.Helper()
	for began := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		conn, err := port.Open(context.Background(), port.Spec{Name: fmt.Sprintf("tcp://127.0.0.1:%d", at)})
		if err == nil {
			s := gcode.NewSession(conn, gcode.Options{})
			if err = s.Greet(context.Background()); err == nil {
				t.Cleanup(func() { s.Close() })
				if !s.Framed() {
					t.Error("the printer takes numbered lines, and it was not found out")
				}
				return s
			}
			s.Close()
		}
		if time.Since(began) > 30*time.Second {
			t.Fatal(err)
		}
	}
}

func touches(t *testing.T, s *gcode.Session) {
	t.Helper()
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	must[gcode.Reply](t)(s.Move(context.Background(), d.Home()))
	for k := range 5 {
		place := record.Place{U: 80 + 10*float64(k), V: 100}
		r := must[gcode.Reply](t)(s.Move(context.Background(), d.Touch(place)))
		if x, y, _, _, ok := d.ReadTouch(r); !ok || x != place.U || y != place.V {
			t.Errorf("touch %d: %q", k, texts(r.Lines))
		}
	}
}

// stopped requests a stop while a home is unanswered.
func stopped(t *testing.T, s *gcode.Session, p *bench.Printer) {
	t.Helper()
	d := must[*dialect.Dialect](t)(dialect.New(dialect.Default()))
	sent, homed := s.Counts().Sent, make(chan error, 1)
	go func() { _, err := s.Move(context.Background(), d.Home()); homed <- err }()
	for s.Counts().Sent == sent {
		time.Sleep(time.Millisecond)
	}
	if err := s.StopNow(); err != nil {
		t.Error(err)
	}
	if err := <-homed; !errors.Is(err, gcode.ErrStopped) {
		t.Errorf("home: %v", err)
	}
	for began := time.Now(); p.Safety().Halts == 0; time.Sleep(time.Millisecond) {
		if time.Since(began) > 10*time.Second {
			t.Fatal("the request did not reach the printer")
		}
	}
}
