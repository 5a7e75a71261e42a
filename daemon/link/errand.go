package link

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os/exec"
	"sync"
	"syscall"
	"time"

	"abbed/daemon/api"
)

// Errand is a command of the owner that is run before the port is opened, or
// after it was given back: it asks the program that owns the port otherwise to
// let it go, or to take it again.
//
// It is run with `sh -c`: the text comes from the owner's own file, flags or
// environment alone, nothing from the network or the printer is ever put into
// it, and so there is nothing that a shell could be tricked with, while quoting,
// pipes and && are those that the owner knows.
type Errand struct {
	// Name is what the log calls it: "before" or "after".
	Name string
	// Text is the command; empty: nothing is run.
	Text string
	// Limit is how long it may take, real time; then it is killed with
	// everything that it started.
	Limit time.Duration
	Log   *slog.Logger
}

// mostSaid bounds what is logged of the output of one errand, lines.
const mostSaid = 100

// Run runs the command and waits for its end. It fails if it cannot be started,
// takes too long, or ends with another status than 0. The error is an
// *api.Error with the code NAME-failed.
func (e Errand) Run(ctx context.Context) error {
	if e.Text == "" {
		return nil
	}
	late, cancel := context.WithTimeoutCause(ctx, e.Limit, errLate)
	defer cancel()
	c := exec.CommandContext(late, "sh", "-c", e.Text)
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	c.WaitDelay = time.Second // what it left behind may hold its output open
	said := &sayings{errand: e}
	c.Stdout, c.Stderr = said, said
	e.Log.Info("command", "name", e.Name, "command", e.Text)
	err := c.Run()
	said.end()
	if errors.Is(err, exec.ErrWaitDelay) {
		err = nil // it ended well; what it started goes on by itself
	}
	if err == nil {
		return nil
	}
	if cause := context.Cause(late); cause != nil {
		err = cause
		if errors.Is(cause, errLate) {
			err = fmt.Errorf("it took longer than %v (command_limit)", e.Limit)
		}
	}
	return api.Errorf(502, e.Name+"-failed", "try the command in a shell of the same user; its output is in the log",
		"run the command %s: %v: %s", e.Name, err, said.last)
}

var errLate = errors.New("it took too long")

// sayings logs the output of an errand line by line.
type sayings struct {
	errand Errand
	mu     sync.Mutex
	part   []byte
	lines  int
	last   string
}

// Write implements io.Writer.
func (s *sayings) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	in := bufio.NewReader(io.MultiReader(bytes.NewReader(s.part), bytes.NewReader(b)))
	for {
		line, err := in.ReadBytes('\n')
		if err != nil {
			s.part = line[:min(len(line), 4096)]
			return len(b), nil
		}
		s.say(line)
	}
}

func (s *sayings) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.part) > 0 {
		s.say(s.part)
	}
	if s.lines > mostSaid {
		s.errand.Log.Info("command says more", "name", s.errand.Name, "lines", s.lines-mostSaid)
	}
}

func (s *sayings) say(line []byte) {
	text := string(bytes.TrimSpace(line))
	if text == "" {
		return
	}
	s.last = text[:min(len(text), 200)]
	if s.lines++; s.lines <= mostSaid {
		s.errand.Log.Info("command says", "name", s.errand.Name, "text", s.last)
	}
}
