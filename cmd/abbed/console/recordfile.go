package console

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"syscall"

	"abbed/config/outside"
	"abbed/probe/record"
)

// largestFile is the largest record or CSV that is read, bytes.
const largestFile = 256 << 20

// whole says where the record of a run comes from.
const whole = "give the whole record of a run (GET runs/{id}/record, the page's Record, or record.json of a demo)"

// ReadRecord reads the record of a run, or the file that demo leaves. The error says
// what the bytes are instead, and what to do.
func ReadRecord(b []byte) (run record.Run, err error) {
	switch text := bytes.TrimSpace(b); {
	case len(text) == 0:
		return run, fmt.Errorf("it is empty; %s", whole)
	case bytes.HasPrefix(b, []byte{0x1f, 0x8b}): // RFC 1952, 2.3.1
		return run, errors.New("it is compressed (gzip); unpack it first: gunzip")
	case text[0] != '{':
		return run, fmt.Errorf("it is no record, which is JSON and begins with {; %s", whole)
	}
	if err := outside.JSON(b, &run, false); err != nil {
		return record.Run{}, NoJSON(err, "record", len(b), whole)
	}
	outside.Texts(&run)
	switch err := record.CheckVersion(run); {
	case err == nil:
		if err := record.CheckBounds(run); err != nil {
			return record.Run{}, fmt.Errorf("it holds what no printer on a desk can be or do (%w); %s", err, whole)
		}
		return run, nil
	case run.Version == 0:
		return record.Run{}, fmt.Errorf("it is JSON, and not the record of a run (no version stands in it); %s", whole)
	default:
		return record.Run{}, fmt.Errorf("it was written in format %d, and this program knows those up to %d; use the version of abbed that wrote it, or a later one", run.Version, record.Version)
	}
}

// NoJSON says what is wrong with n bytes that should be a record or a table, and what to
// give instead.
func NoJSON(err error, kind string, n int, instead string) error {
	var syntax *json.SyntaxError
	var other *json.UnmarshalTypeError
	var member *outside.MemberError
	switch {
	case errors.As(err, &member):
		return fmt.Errorf("the member %w; %s", err, instead)
	case strings.HasPrefix(err.Error(), "unexpected end"), errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("it breaks off after %d bytes; copy or fetch it again", n)
	case errors.As(err, &other):
		return fmt.Errorf("at byte %d, in %q, stands a %s that no %s has there; %s", other.Offset, other.Field, other.Value, kind, instead)
	case errors.As(err, &syntax):
		return fmt.Errorf("it is damaged, or no %s: at byte %d it is not JSON any more; copy or fetch it again", kind, syntax.Offset)
	}
	return fmt.Errorf("it cannot be read as a %s (%w); %s", kind, err, instead)
}

// ReadAll reads a file, or in for "-".
func ReadAll(name string, in io.Reader) ([]byte, error) {
	if name != "-" {
		f, err := outside.Open(name)
		if err != nil {
			return nil, NoFile(err)
		}
		defer f.Close()
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, largestFile+1))
	if err == nil && len(b) > largestFile {
		return b, fmt.Errorf("it is larger than %d MB, larger than any file of abbed: see whether it is the right file", largestFile>>20)
	}
	return b, NoFile(err)
}

// NoFile says why a file cannot be read, and what to do.
func NoFile(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no such file; look at its name, and in which directory you are (%w)", err)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("it may not be read by whoever runs this; look at its owner and mode (%w)", err)
	case errors.Is(err, outside.ErrNoFile):
		return fmt.Errorf("it is a pipe or a device; give what comes from there on standard input, as - (%w)", err)
	case errors.Is(err, syscall.EISDIR):
		return fmt.Errorf("it is a directory; name a file in it (%w)", err)
	}
	return fmt.Errorf("it cannot be read; look at the disk or the card (%w)", err)
}
