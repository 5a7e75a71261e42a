package gcodetest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Direction of a line.
type Direction byte

// Directions.
const (
	Sent  Direction = '>' // to the printer
	Heard Direction = '<' // from the printer
)

// Said is one line of a dialogue, without its newline.
type Said struct {
	At   time.Duration
	Dir  Direction
	Text string
}

// Dialogue is what was said, and where it came from.
type Dialogue struct {
	From     string    // where it came from; never empty
	Recorded time.Time // when
	Lines    []Said
}

// Parse reads a dialogue.
func Parse(r io.Reader) (*Dialogue, error) {
	d := &Dialogue{}
	in := bufio.NewScanner(r)
	in.Buffer(nil, 1<<20)
	for n := 1; in.Scan(); n++ {
		if err := d.line(in.Text()); err != nil {
			return nil, fmt.Errorf("gcodetest: line %d: %w", n, err)
		}
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("gcodetest: %w", err)
	}
	if d.From == "" {
		return nil, errors.New("gcodetest: no `# from:` line says where the dialogue came from")
	}
	return d, nil
}

func (d *Dialogue) line(t string) error {
	if strings.TrimSpace(t) == "" {
		return nil
	}
	if head, ok := strings.CutPrefix(t, "#"); ok {
		return d.head(head)
	}
	at, rest, ok := strings.Cut(t, " ")
	s, err := strconv.ParseFloat(at, 64)
	if !ok || err != nil || !(s >= 0 && s < 1e9) {
		return fmt.Errorf("%q does not begin with seconds", t)
	}
	if len(rest) == 0 || rest[0] != byte(Sent) && rest[0] != byte(Heard) {
		return fmt.Errorf("%q has neither > nor < behind the seconds", t)
	}
	text := strings.TrimPrefix(rest[1:], " ")
	if strings.HasPrefix(text, `"`) {
		if text, err = strconv.Unquote(text); err != nil {
			return fmt.Errorf("%q: %w", rest, err)
		}
	}
	d.Lines = append(d.Lines, Said{time.Duration(s * float64(time.Second)), Direction(rest[0]), text})
	return nil
}

func (d *Dialogue) head(t string) error {
	key, value, _ := strings.Cut(t, ":")
	value = strings.TrimSpace(value)
	switch strings.TrimSpace(key) {
	case "from":
		d.From = value
	case "recorded":
		when, err := time.Parse(time.RFC3339, value)
		if err != nil {
			return err
		}
		d.Recorded = when
	}
	return nil // other heads are remarks
}

// WriteTo writes the dialogue as Parse reads it.
func (d *Dialogue) WriteTo(w io.Writer) (int64, error) {
	var b strings.Builder
	b.WriteString(header(d.From, d.Recorded))
	for _, s := range d.Lines {
		b.WriteString(s.String())
	}
	n, err := io.WriteString(w, b.String())
	return int64(n), err
}

func header(from string, when time.Time) string {
	h := "# from: " + strings.Join(strings.Fields(from), " ") + "\n"
	if !when.IsZero() {
		h += "# recorded: " + when.Format(time.RFC3339) + "\n"
	}
	return h
}

// String gives the line of the file.
func (s Said) String() string {
	text := s.Text
	if !plain(text) {
		text = strconv.QuoteToASCII(text)
	}
	return fmt.Sprintf("%.6f %c %s\n", s.At.Seconds(), s.Dir, text)
}

// plain texts need no quotes.
func plain(t string) bool {
	if t == "" || t[0] == '"' || t[0] == ' ' {
		return false
	}
	for i := 0; i < len(t); i++ {
		if t[i] < ' ' || t[i] > '~' {
			return false
		}
	}
	return true
}
