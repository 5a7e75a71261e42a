package printfile

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
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
	r.all()
	if r.err == nil {
		r.wrote(r.out.Flush())
	}
	return r.sum, r.err
}

type rewriter struct {
	state
	o      Options
	s      Surface
	slope  float64
	fall   float64 // by how much the weight falls, 1/mm
	in     *bufio.Reader
	out    *bufio.Writer
	err    error // the first; nothing is done behind it
	sum    Summary
	k      block
	c      changes   // to the line
	eol    []byte    // line end of the file's first line
	end    []byte    // line end of this line
	text   []byte    // what is being composed
	cuts   []float64 // where the move is cut, parts of it, without 0, with 1
	shares [3]share  // of X, Y and E along it
	begun  bool      // the correction was in force once
	goesOn bool      // the line has more than what was read of it
	cr     bool      // what was read of it ends with a carriage return
	layers *layers   // not nil: only they are looked for
}

func newRewriter(out io.Writer, in io.Reader, s Surface, o Options) *rewriter {
	largest, slope := s.Bounds()
	r := &rewriter{o: o, s: s, slope: slope, state: state{motion: -1, plane: 170, unit: perMM, scale: 1, places: 4},
		in: bufio.NewReaderSize(in, LongestLine), out: bufio.NewWriterSize(out, LongestLine)}
	r.sum.Full, r.sum.End = o.Full, o.Full+largest/o.Fade
	if largest > 0 {
		r.fall = o.Fade / largest
	}
	return r
}

// all copies line by line.
func (r *rewriter) all() {
	for r.err == nil {
		b, err := r.in.ReadSlice('\n')
		more := errors.Is(err, bufio.ErrBufferFull)
		if err != nil && !more && !errors.Is(err, io.EOF) {
			r.err = fmt.Errorf("printfile: line %d: read: %w", r.sum.Lines+1, err)
			return
		}
		if r.eol == nil {
			r.header(b)
		}
		if len(b) > 0 && !r.piecewise(b, more) {
			_, err := r.out.Write(b)
			r.wrote(err)
		}
		if err != nil && !more {
			return
		}
	}
}

// piecewise does a line, or a part of one that is longer than the buffer, which only a
// comment may be; done says that it is not to be written as it is.
func (r *rewriter) piecewise(b []byte, more bool) (done bool) {
	goesOn := r.goesOn
	r.goesOn = more
	if !goesOn {
		r.sum.Lines++
	}
	switch {
	case r.returns(b, more):
		return true
	case goesOn:
		return false
	case !more:
		return r.read(b)
	}
	if i := lead(b); i < len(b) && b[i] == ';' {
		return r.twice(b[i:])
	}
	return r.refuse(fmt.Sprintf("the line is longer than %d bytes, and no comment", LongestLine), "is that a print file?")
}

// header writes what was done as the first line, with the file's own line end.
func (r *rewriter) header(first []byte) {
	r.eol = []byte("\n")
	if bytes.HasSuffix(first, []byte("\r\n")) {
		r.eol = []byte("\r\n")
	}
	fmt.Fprintf(r.out, "%s%s, in full up to %.4g mm, none from %.4g mm, tolerance %g mm. Not to be carried again.%s",
		mark, cmp.Or(r.o.Note, "a surface"), r.sum.Full, r.sum.End, r.o.Tolerance, r.eol)
}

// twice refuses a file that holds the header already.
func (r *rewriter) twice(b []byte) bool {
	if !bytes.HasPrefix(b, []byte(mark[:len(mark)-2])) {
		return false
	}
	r.err = &LineError{r.sum.Lines, "a correction was carried into this file before", "carry it into the file as it was sliced", ErrTwice}
	return true
}

// refuse ends the rewrite at this line; it is always true.
func (r *rewriter) refuse(cause, hint string) bool {
	r.err = &LineError{r.sum.Lines, cause, hint, nil}
	return true
}

// wrote takes note of what a write returned; a writer that has failed says so each time.
func (r *rewriter) wrote(err error) {
	if err != nil {
		r.err = fmt.Errorf("printfile: write: %w", err)
	}
}

// returns refuses a carriage return that is not part of the line's end: what
// stands behind it is a line of its own to some machines, and to others not.
func (r *rewriter) returns(b []byte, more bool) bool {
	i := bytes.IndexByte(b, '\r')
	split := r.cr && b[0] != '\n'
	r.cr = more && i == len(b)-1
	if !split && (i < 0 || i == len(b)-1 || i == len(b)-2 && b[i+1] == '\n') {
		return false
	}
	return r.refuse("a carriage return inside the line, which some machines read as its end", "write the file with one kind of line end")
}
