package gcodetest

import (
	"bytes"
	"fmt"
	"io"
	"sync"
	"time"
)

// Recorder writes down everything that passes through a connection.
type Recorder struct {
	conn io.ReadWriteCloser
	now  func() time.Time

	mu    sync.Mutex
	w     io.Writer
	start time.Time
	parts map[Direction][]byte // lines that have not ended yet
	noted int
	err   error
}

// mostNoted is how much of a dialogue is written down, bytes: an examination has some
// 20 kB, and whoever records it keeps it in memory.
const mostNoted = 4 << 20

// Record returns conn with a recorder in between, which writes to w. from says
// where the dialogue comes from; it panics if that is empty. now gives the time,
// time.Now if nil.
func Record(conn io.ReadWriteCloser, w io.Writer, from string, now func() time.Time) *Recorder {
	if from == "" {
		panic("gcodetest: a recording must say where it comes from")
	}
	if now == nil {
		now = time.Now
	}
	r := &Recorder{conn: conn, now: now, w: w, start: now(), parts: map[Direction][]byte{}}
	_, r.err = io.WriteString(w, header(from, r.start))
	return r
}

// Read reads from the printer.
func (r *Recorder) Read(b []byte) (int, error) {
	n, err := r.conn.Read(b)
	r.note(Heard, b[:n])
	return n, err
}

// Write writes to the printer. A line is noted before it is sent, so that an
// answer never stands before its question.
func (r *Recorder) Write(b []byte) (int, error) {
	r.note(Sent, b)
	return r.conn.Write(b)
}

// SetWriteDeadline is passed on, if the connection has it.
func (r *Recorder) SetWriteDeadline(t time.Time) error {
	if d, ok := r.conn.(interface{ SetWriteDeadline(time.Time) error }); ok {
		return d.SetWriteDeadline(t)
	}
	return fmt.Errorf("gcodetest: the connection has no deadlines")
}

// DiscardOutput is passed on, if the connection has it.
func (r *Recorder) DiscardOutput() error {
	if d, ok := r.conn.(interface{ DiscardOutput() error }); ok {
		return d.DiscardOutput()
	}
	return nil
}

// Close closes the connection. It reports an error of the recording, too.
func (r *Recorder) Close() error {
	err := r.conn.Close()
	r.mu.Lock()
	defer r.mu.Unlock()
	if err == nil && r.err != nil {
		err = fmt.Errorf("gcodetest: record: %w", r.err)
	}
	return err
}

func (r *Recorder) note(dir Direction, b []byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.noted += len(b); r.noted > mostNoted {
		r.parts = map[Direction][]byte{}
		if r.err == nil {
			r.err = fmt.Errorf("more than %d MB were said, and the rest is left out; switch off what the printer reports by itself, and record it again", mostNoted>>20)
		}
		return
	}
	at := r.now().Sub(r.start)
	part := append(r.parts[dir], b...)
	for {
		i := bytes.IndexByte(part, '\n')
		if i < 0 {
			break
		}
		if _, err := io.WriteString(r.w, (Said{at, dir, string(part[:i])}).String()); err != nil && r.err == nil {
			r.err = err
		}
		part = part[i+1:]
	}
	r.parts[dir] = part
}
