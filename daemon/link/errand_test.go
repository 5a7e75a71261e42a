package link_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/link"
)

func errand(text string, limit time.Duration) (link.Errand, *bytes.Buffer) {
	log := &bytes.Buffer{}
	return link.Errand{Name: "before", Text: text, Limit: limit, Log: slog.New(slog.NewTextHandler(log, nil))}, log
}

// How an errand ends is checked, and what it says is in the log.
func TestErrand(t *testing.T) {
	for _, c := range []struct {
		name, text, want string // want: in the error; "": none
	}{
		{"none", "", ""},
		{"well", "echo out; echo err >&2; printf unfinished", ""},
		{"status", "echo the other program prints; exit 3", "exit status 3: the other program prints"},
		{"not there", "/not/here", "exit status 127"},
		{"signal", "kill -9 $$", "signal: killed"},
		{"much", "i=0; while test $i -lt 300; do echo line $i; i=$((i+1)); done", ""},
		{"leaves something behind", "sleep 60 & exit 0", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, log := errand(c.text, 20*time.Second)
			err := e.Run(t.Context())
			var said *api.Error
			switch {
			case c.want == "" && err != nil:
				t.Error(err)
			case c.want != "" && (!errors.As(err, &said) || said.Code != "before-failed" || said.Hint == "" || !strings.Contains(said.Text, c.want)):
				t.Errorf("%v, want %q", err, c.want)
			}
			for name, lines := range map[string][]string{
				"well": {"text=out", "text=err", "text=unfinished"}, "status": {`text="the other program prints"`}, "much": {`text="line 0"`, "lines=200"},
			} {
				for _, l := range lines {
					if name == c.name && !strings.Contains(log.String(), l) {
						t.Errorf("the log lacks %s:\n%s", l, log)
					}
				}
			}
			if strings.Contains(log.String(), "line 299") {
				t.Error("everything is logged")
			}
		})
	}
}

// An errand that takes too long is killed, with what it started.
func TestErrandTakesTooLong(t *testing.T) {
	pids := filepath.Join(t.TempDir(), "pid")
	e, _ := errand("sleep 600 & echo $! > "+pids+"; wait", 300*time.Millisecond)
	began := time.Now()
	err := e.Run(t.Context())
	if err == nil || !strings.Contains(err.Error(), "longer than 300ms") || time.Since(began) > 10*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
	b, err := os.ReadFile(pids)
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	for gone := time.Now().Add(10 * time.Second); syscall.Kill(pid, 0) == nil && !zombie(pid); {
		if time.Now().After(gone) {
			t.Fatalf("process %d, which the command started, lives on", pid)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// zombie reports whether a process has ended and waits to be collected by
// whoever adopted it.
func zombie(pid int) bool {
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	return err == nil && strings.Contains(string(b), ") Z ")
}

// The end of the program ends an errand.
func TestErrandIsEnded(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	why := errors.New("the program ends")
	time.AfterFunc(100*time.Millisecond, func() { cancel(why) })
	e, _ := errand("sleep 600", time.Hour)
	began := time.Now()
	if err := e.Run(ctx); err == nil || !strings.Contains(err.Error(), why.Error()) || time.Since(began) > 10*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
}
