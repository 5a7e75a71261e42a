package link_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
)

// bay is where a virtual printer is plugged in; another program may have it.
type bay struct {
	printer *bench.Printer
	serving sync.WaitGroup
	mu      sync.Mutex
	taken   error
	opened  int
	tries   int
}

func (b *bay) open(context.Context) (io.ReadWriteCloser, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.tries++
	if b.taken != nil {
		return nil, b.taken
	}
	b.opened++
	near, far := net.Pipe()
	b.serving.Go(func() { _ = b.printer.Serve(context.Background(), far); _ = far.Close() })
	return near, nil
}

func (b *bay) take(by error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.taken = by
}

func (b *bay) counts() (tries, opened int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.tries, b.opened
}

// linked runs do with a link to a virtual printer, in a bubble.
func linked(t *testing.T, b *bay, change func(*link.Options), do func(t *testing.T, l *link.Link)) {
	synctest.Test(t, func(t *testing.T) {
		sc, err := bench.Lookup("healthy")
		if err != nil {
			t.Fatal(err)
		}
		b.printer = bench.New(sc, bench.Options{Seed: 2})
		words, err := dialect.New(dialect.Default())
		if err != nil {
			t.Fatal(err)
		}
		o := link.Options{Name: "bay", Open: b.open, Words: words, Clock: clock.Real(), Log: slog.New(slog.DiscardHandler)}
		change(&o)
		l := link.New(o, func() {})
		ctx, end := context.WithCancel(context.Background())
		var keeping sync.WaitGroup
		keeping.Go(func() { l.Keep(ctx) })
		do(t, l)
		end()
		keeping.Wait()
		b.serving.Wait()
	})
}

func refusedAs(t *testing.T, l *link.Link) *api.Error {
	t.Helper()
	var e *api.Error
	if err := l.Unready(); err != nil && !errors.As(err, &e) {
		t.Fatal(err)
	}
	return e
}

// TestTaken: by which process and what to do is said; the port is had once it is
// free, by a try every 10 s at the most.
func TestTaken(t *testing.T) {
	b := &bay{taken: &port.TakenError{Device: "/dev/bay", Holder: port.Holder{PID: 4218, Name: "other"}, Hint: "Let it disconnect."}}
	linked(t, b, func(*link.Options) {}, func(t *testing.T, l *link.Link) {
		time.Sleep(time.Minute)
		e := refusedAs(t, l)
		if e == nil || e.Code != "taken" || e.Status != 503 || e.RetryAfter == 0 {
			t.Fatalf("%+v", e)
		}
		for _, want := range []string{"other", "4218", "/dev/bay", "Let it disconnect"} {
			if !strings.Contains(e.Text, want) {
				t.Errorf("%q does not say %q", e.Text, want)
			}
		}
		if tries, _ := b.counts(); tries < 6 || tries > 12 {
			t.Errorf("%d tries in a minute", tries)
		}
		b.take(nil)
		time.Sleep(20 * time.Second)
		if e := refusedAs(t, l); e != nil {
			t.Errorf("it is free: %+v", e)
		}
	})
}

// TestLostIsSaidOnce: why the link was lost stands behind the words that say that it
// was, and does not say it again.
func TestLostIsSaidOnce(t *testing.T) {
	for _, c := range []struct {
		err  error
		says string
		hint string
	}{
		{fmt.Errorf("%w: the other end closed it", gcode.ErrLost), "The link to the printer is lost: the other end closed it. Check", "check cable"},
		{fmt.Errorf("gcode: ask M105: %w: read: input/output error", gcode.ErrLost), "The link to the printer is lost: gcode: ask M105: read: input/output error. Check", "check cable"},
		{fmt.Errorf("gcode: greet: %w", gcode.ErrLost), "The link to the printer is lost: gcode: greet. Check", "check cable"},
		{gcode.ErrLost, "The link to the printer is lost. Check", "check cable"},
		{errors.New("no such device"), "The link to the printer is lost: no such device. Check", "check cable"},
		{fmt.Errorf("gcode: greet: %w: more than 4096 lines or 256 kB came in answer to M503", gcode.ErrEndless), "The link to the printer was given up: gcode: greet: what the printer says does not end: more than 4096 lines or 256 kB came in answer to M503. Set another command", "set another command"},
	} {
		b := &bay{taken: c.err}
		linked(t, b, func(*link.Options) {}, func(t *testing.T, l *link.Link) {
			time.Sleep(time.Second)
			if e := refusedAs(t, l); e == nil || !strings.HasPrefix(e.Text, c.says) || !strings.HasPrefix(e.Hint, c.hint) {
				t.Errorf("%v: %+v", c.err, e)
			}
		})
	}
}

// TestTakenWithCommands: where each try sends another program away, tries are
// rare.
func TestTakenWithCommands(t *testing.T) {
	b := &bay{taken: errors.New("no such device")}
	change := func(o *link.Options) {
		o.Rest = true
		o.After = link.Errand{Name: "after", Text: "true", Limit: time.Minute, Log: slog.New(slog.DiscardHandler)}
	}
	linked(t, b, change, func(t *testing.T, l *link.Link) {
		time.Sleep(time.Hour)
		if tries, _ := b.counts(); tries < 10 || tries > 18 {
			t.Errorf("%d tries in an hour", tries)
		}
		if e := refusedAs(t, l); e == nil || e.Code != "lost" {
			t.Errorf("%+v", e)
		}
	})
}

// TestFirstOpeningWaits: a device is not opened before a person allows it,
// however long that takes; after it the port rests between jobs, and each job
// opens it once.
func TestFirstOpeningWaits(t *testing.T) {
	b := &bay{}
	linked(t, b, func(o *link.Options) { o.Ask, o.Rest = true, true }, func(t *testing.T, l *link.Link) {
		time.Sleep(time.Hour)
		tries, _ := b.counts()
		if e := refusedAs(t, l); e == nil || e.Code != "unopened" || tries != 0 {
			t.Fatalf("%+v after %d tries", e, tries)
		}
		if _, err := l.Lend(); err == nil {
			t.Error("lent before it was allowed")
		}
		l.Allow()
		time.Sleep(time.Minute)
		for job := range 3 {
			loan, err := l.Lend()
			if err != nil {
				t.Fatal(err)
			}
			if _, err := l.Lend(); err == nil {
				t.Error("lent twice")
			}
			sess, facts, err := loan.Open(t.Context())
			if err != nil || facts.Lever == nil || sess.Err() != nil {
				t.Fatalf("job %d: %v", job, err)
			}
			loan.Back(true)
			if e := refusedAs(t, l); e != nil { // at once, while the port is still being given back
				t.Errorf("job %d: %+v", job, e)
			}
		}
		if _, opened := b.counts(); opened != 4 {
			t.Errorf("opened %d times for the identification and three jobs", opened)
		}
	})
}

// TestJobsAtTheDoor: jobs that come and go as fast as they can, with lines that
// die under them, never meet a port that is open twice, and never hang.
func TestJobsAtTheDoor(t *testing.T) {
	b := &bay{}
	linked(t, b, func(o *link.Options) { o.Rest = true }, func(t *testing.T, l *link.Link) {
		done := 0
		for n, tries := 0, 0; n < 60; tries++ {
			if tries > 10000 {
				t.Fatalf("hangs after %d jobs: %+v", n, refusedAs(t, l))
			}
			loan, err := l.Lend()
			if err != nil {
				time.Sleep(time.Second)
				continue
			}
			n++
			ctx, cancel := context.WithCancel(t.Context())
			if n%5 == 4 {
				time.AfterFunc(700*time.Millisecond, cancel) // in the middle of the greeting
			}
			sess, _, err := loan.Open(ctx)
			cancel()
			if err == nil && n%7 == 6 {
				_ = sess.StopNow()
				time.Sleep(time.Second) // the printer halts
				b.printer.Restart()
			}
			if err == nil {
				done++
			}
			loan.Back(err == nil)
		}
		if done != 48 { // all but each fifth, which was given up
			t.Errorf("%d of 60 jobs were done", done)
		}
	})
}

// TestStopBeforeOpening: a stop between the promise of the printer and the opening of its port
// reaches the job: the port is not opened for it.
func TestStopBeforeOpening(t *testing.T) {
	b := &bay{}
	linked(t, b, func(o *link.Options) { o.Rest = true }, func(t *testing.T, l *link.Link) {
		l.Allow()
		time.Sleep(time.Minute)
		loan, err := l.Lend()
		if err != nil {
			t.Fatal(err)
		}
		_, before := b.counts()
		if err := l.StopNow(); err != nil && !errors.Is(err, link.ErrNothing) {
			t.Error(err)
		}
		if _, _, err := loan.Open(t.Context()); !errors.Is(err, link.ErrStop) {
			t.Errorf("opened after a stop: %v", err)
		}
		if _, after := b.counts(); after != before {
			t.Error("the port was opened after a stop")
		}
		loan.Back(false)
		if loan, err = l.Lend(); err != nil {
			t.Fatal(err)
		}
		if _, _, err := loan.Open(t.Context()); err != nil {
			t.Errorf("a stop outlived the job that it was for: %v", err)
		}
		loan.Back(false)
	})
}

// TestBriefLoan: a job waits for a question of the program's own, but not for ever; the
// question waits for nobody, and a job for no other job.
func TestBriefLoan(t *testing.T) {
	linked(t, &bay{}, func(*link.Options) {}, func(t *testing.T, l *link.Link) {
		for refusedAs(t, l) != nil {
			time.Sleep(time.Second)
		}
		asks := func() *link.Loan {
			loan, err := l.LendBriefly()
			if err != nil {
				t.Fatal(err)
			}
			return loan
		}
		loan := asks()
		if _, err := l.LendBriefly(); err == nil {
			t.Error("two questions at once")
		}
		time.AfterFunc(time.Second, func() { loan.Back(true) })
		began := time.Now()
		job, err := l.Lend()
		if err != nil || time.Since(began) != time.Second {
			t.Fatalf("a job beside a question: %v after %v", err, time.Since(began))
		}
		if _, err := l.Lend(); err == nil || time.Since(began) != time.Second {
			t.Errorf("a job beside a job: %v after %v", err, time.Since(began))
		}
		job.Back(true)
		loan = asks()
		if _, err := l.Lend(); err == nil || time.Since(began) > 4*time.Second {
			t.Errorf("beside a question without end: %v after %v", err, time.Since(began))
		}
		loan.Back(true)
	})
}
