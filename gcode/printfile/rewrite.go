package printfile

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
)

// LongestLine is the longest line that can be a command, bytes; comments may be
// longer.
const LongestLine = 64 << 10

// mark begins the header.
const mark = "; abbed carried a correction: "

// Rewrite copies the print file in to out with the correction s, as options say.
// It reads and writes as it goes: its memory does not grow with the file. On an
// error the output is not to be printed; a *LineError names the line.
func Rewrite(out io.Writer, in io.Reader, s Surface, options Options) (Summary, error) {
	if err := options.Check(s); err != nil {
		return Summary{}, err
	}
	_, slope := s.Bounds()
	r := &rewriter{o: options, s: s, slope: slope, state: newState(),
		in: bufio.NewReaderSize(in, LongestLine), out: bufio.NewWriterSize(out, LongestLine)}
	r.sum.Lowest = math.Inf(1)
	err := r.all()
	if math.IsInf(r.sum.Lowest, 0) {
		r.sum.Lowest = 0
	}
	if err != nil {
		return r.sum, err
	}
	if err := r.out.Flush(); err != nil {
		return r.sum, fmt.Errorf("printfile: write: %w", err)
	}
	return r.sum, nil
}

type rewriter struct {
	state
	o     Options
	s     Surface
	slope float64
	in    *bufio.Reader
	out   *bufio.Writer
	sum   Summary
	k     block
	eol   []byte    // line end of the file's first line
	end   []byte    // line end of this line
	text  []byte    // what is being composed
	cuts  []float64 // where the move is cut, parts of it, without 0, with 1
	begun bool      // the correction was in force once
}

// all copies line by line.
func (r *rewriter) all() error {
	for {
		b, err := r.in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			err = r.long(b)
			if err == nil {
				continue
			}
			if _, ok := errors.AsType[*LineError](err); ok {
				return err
			}
			b = nil
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("printfile: line %d: read: %w", r.sum.Lines+1, err)
		}
		if r.sum.Lines == 0 {
			if e := r.header(b); e != nil {
				return e
			}
		}
		if len(b) > 0 {
			r.sum.Lines++
			if e := r.line(b); e != nil {
				return e
			}
		}
		if err != nil {
			return nil
		}
	}
}

// long passes a comment on that is longer than the buffer.
func (r *rewriter) long(b []byte) error {
	if r.sum.Lines == 0 {
		if err := r.header(b); err != nil {
			return err
		}
	}
	r.sum.Lines++
	t := bytes.TrimLeft(b, " \t")
	if len(t) > 0 && command(t[0]) {
		return r.refuse(fmt.Sprintf("a command longer than %d bytes", LongestLine), "is that a print file?")
	}
	for first := true; ; first = false {
		if first {
			if err := r.twice(t); err != nil {
				return err
			}
		}
		if err := r.returns(b); err != nil {
			return err
		}
		if _, err := r.out.Write(b); err != nil {
			return err
		}
		var err error
		if b, err = r.in.ReadSlice('\n'); !errors.Is(err, bufio.ErrBufferFull) {
			if e := r.returns(b); e != nil {
				return e
			}
			if _, e := r.out.Write(b); e != nil {
				return e
			}
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

// command says whether a line that begins with c may be words.
func command(c byte) bool {
	c = upper(c)
	return letter(c) || c == '(' || c == '/'
}

// header writes what was done as the first line, with the file's own line end.
func (r *rewriter) header(first []byte) error {
	r.eol = []byte("\n")
	if bytes.HasSuffix(first, []byte("\r\n")) {
		r.eol = []byte("\r\n")
	}
	_, err := fmt.Fprintf(r.out, "%s%s, in full up to %g mm, none from %g mm, tolerance %g mm. Not to be carried again.%s",
		mark, cmp.Or(r.o.Note, "a surface"), r.o.Full, r.o.Taper, r.o.Tolerance, r.eol)
	return err
}

// twice refuses a file that holds the header already.
func (r *rewriter) twice(b []byte) error {
	if !bytes.HasPrefix(b, []byte(mark[:len(mark)-2])) {
		return nil
	}
	return &LineError{r.sum.Lines, "a correction was carried into this file before", "carry it into the file as it was sliced", ErrTwice}
}

func (r *rewriter) refuse(cause, hint string) error {
	return &LineError{r.sum.Lines, cause, hint, nil}
}

// body splits the line end off.
func body(b []byte) (text, end []byte) {
	n := len(b)
	if n > 0 && b[n-1] == '\n' {
		n--
		if n > 0 && b[n-1] == '\r' {
			n--
		}
	}
	return b[:n], b[n:]
}

// line does one line.
func (r *rewriter) line(b []byte) error {
	text, end := body(b)
	if len(end) == 0 {
		end = r.eol
	}
	r.end = end
	i := 0
	for i < len(text) && blank(text[i]) {
		i++
	}
	if err := r.returns(b); err != nil {
		return err
	}
	if i < len(text) {
		if c := upper(text[i]); c == ';' {
			if err := r.twice(text[i:]); err != nil {
				return err
			}
		} else if command(c) {
			done, err := r.words(b, text, i)
			if err != nil || done {
				return err
			}
		} else if err := r.odd(text, i); err != nil {
			return err
		}
	}
	_, err := r.out.Write(b)
	return err
}

// returns refuses a carriage return that is not part of the line's end: what
// stands behind it is a line of its own to some machines, and to others not.
func (r *rewriter) returns(b []byte) error {
	if i := bytes.IndexByte(b, '\r'); i >= 0 && i < len(b)-1 && !(i == len(b)-2 && b[i+1] == '\n') {
		return r.refuse("a carriage return inside the line, which some machines read as its end", "write the file with one kind of line end")
	}
	return nil
}
