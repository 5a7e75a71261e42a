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
// It reads and writes as it goes: its memory does not grow with the file, but for the
// first layers, which are read ahead where Options.Full leaves it to them. On an
// error the output is not to be printed; a *LineError names the line.
func Rewrite(out io.Writer, in io.Reader, s Surface, options Options) (Summary, error) {
	if err := options.Check(s); err != nil {
		return Summary{}, err
	}
	if options.Full == 0 {
		options.Full, in = firstTwo(in, options)
	}
	r := newRewriter(out, in, s, options)
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
	o      Options
	s      Surface
	slope  float64
	fall   float64 // by how much the weight falls, 1/mm
	in     *bufio.Reader
	out    *bufio.Writer
	sum    Summary
	k      block
	eol    []byte    // line end of the file's first line
	end    []byte    // line end of this line
	text   []byte    // what is being composed
	cuts   []float64 // where the move is cut, parts of it, without 0, with 1
	begun  bool      // the correction was in force once
	goesOn bool      // the line has more than what was read of it
	cr     bool      // what was read of it ends with a carriage return
	layers *layers   // not nil: only they are looked for
}

func newRewriter(out io.Writer, in io.Reader, s Surface, o Options) *rewriter {
	largest, slope := s.Bounds()
	r := &rewriter{o: o, s: s, slope: slope, state: newState(),
		in: bufio.NewReaderSize(in, LongestLine), out: bufio.NewWriterSize(out, LongestLine)}
	r.sum.Lowest, r.sum.Full, r.sum.End = math.Inf(1), o.Full, o.Full+largest/o.Fade
	if largest > 0 {
		r.fall = o.Fade / largest
	}
	return r
}

// all copies line by line.
func (r *rewriter) all() error {
	for {
		b, err := r.in.ReadSlice('\n')
		more := errors.Is(err, bufio.ErrBufferFull)
		if err != nil && !more && !errors.Is(err, io.EOF) {
			return fmt.Errorf("printfile: line %d: read: %w", r.sum.Lines+1, err)
		}
		if r.eol == nil {
			if e := r.header(b); e != nil {
				return e
			}
		}
		if len(b) > 0 {
			if e := r.part(b, more); e != nil {
				return e
			}
		}
		if err != nil && !more {
			return nil
		}
	}
}

// part does a line, or a part of one that is longer than the buffer, which only a
// comment may be.
func (r *rewriter) part(b []byte, more bool) error {
	began := !r.goesOn
	r.goesOn = more
	if began {
		r.sum.Lines++
	}
	if err := r.returns(b, more); err != nil {
		return err
	}
	if began {
		if !more {
			return r.line(b)
		}
		i := lead(b)
		if i == len(b) || b[i] != ';' {
			return r.refuse(fmt.Sprintf("the line is longer than %d bytes, and no comment", LongestLine), "is that a print file?")
		}
		if err := r.twice(b[i:]); err != nil {
			return err
		}
	}
	_, err := r.out.Write(b)
	return err
}

// command says whether a line that begins with c may be words.
func command(c byte) bool { return letter(upper(c)) || c == '(' || c == '/' }

// header writes what was done as the first line, with the file's own line end.
func (r *rewriter) header(first []byte) error {
	r.eol = []byte("\n")
	if bytes.HasSuffix(first, []byte("\r\n")) {
		r.eol = []byte("\r\n")
	}
	_, err := fmt.Fprintf(r.out, "%s%s, in full up to %.4g mm, none from %.4g mm, tolerance %g mm. Not to be carried again.%s",
		mark, cmp.Or(r.o.Note, "a surface"), r.sum.Full, r.sum.End, r.o.Tolerance, r.eol)
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
	if r.end = end; len(end) == 0 {
		r.end = r.eol
	}
	done, err := r.read(b, text)
	if err != nil || done {
		return err
	}
	_, err = r.out.Write(b)
	return err
}

// returns refuses a carriage return that is not part of the line's end: what
// stands behind it is a line of its own to some machines, and to others not.
func (r *rewriter) returns(b []byte, more bool) error {
	i := bytes.IndexByte(b, '\r')
	split := r.cr && b[0] != '\n'
	r.cr = more && i == len(b)-1
	if split || i >= 0 && i < len(b)-1 && !(i == len(b)-2 && b[i+1] == '\n') {
		return r.refuse("a carriage return inside the line, which some machines read as its end", "write the file with one kind of line end")
	}
	return nil
}
