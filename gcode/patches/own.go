package patches

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// largestFile is the longest start or end file that is taken, bytes.
const largestFile = 64 << 10

// files checks the person's own files: text, and no heat above the limits. What
// else they do is theirs.
func (s Settings) files() error {
	var errs []error
	for _, f := range []struct {
		name string
		text []byte
	}{{"start file", s.Start}, {"end file", s.End}} {
		if len(f.text) > largestFile {
			errs = append(errs, fmt.Errorf("%s of %d bytes: at most %d are taken; is it a whole print?", f.name, len(f.text), largestFile))
			continue
		}
		if bytes.IndexByte(f.text, 0) >= 0 {
			errs = append(errs, fmt.Errorf("%s: it is no text", f.name))
			continue
		}
		for i, line := range strings.Split(string(f.text), "\n") {
			if err := s.hot(line); err != nil {
				errs = append(errs, fmt.Errorf("%s, line %d: %w", f.name, i+1, err))
			}
		}
	}
	return errors.Join(errs...)
}

// hot refuses a line that heats above a limit, or to a placeholder.
func (s Settings) hot(line string) error {
	line, _, _ = strings.Cut(line, ";")
	words := strings.Fields(strings.ToUpper(line))
	if len(words) == 0 {
		return nil
	}
	limit, what := s.NozzleMax, "nozzle"
	switch words[0] {
	case "M104", "M109":
	case "M140", "M190":
		limit, what = s.BedMax, "bed"
	default:
		return nil
	}
	for _, w := range words[1:] {
		if w[0] != 'S' && w[0] != 'R' {
			continue
		}
		t, err := strconv.ParseFloat(w[1:], 64)
		if err != nil {
			return fmt.Errorf("%q is no temperature: write the number, placeholders are not filled in", w)
		}
		if !(t >= 0 && t <= limit) {
			return fmt.Errorf("the %s is heated to %g; at most %g is allowed (heat.%s_max)", what, t, limit, what)
		}
	}
	return nil
}

// owned appends a person's file with line ends of its own made ours.
func owned(b *bytes.Buffer, name string, text []byte) {
	fmt.Fprintf(b, "; --- your %s file ---\n", name)
	b.WriteString(strings.TrimRight(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n"))
	fmt.Fprintf(b, "\n; --- end of your %s file ---\n", name)
}
