package demo

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"

	"abbed/cmd/abbed/console"
	"abbed/gcode/bench"
)

// Bay is a virtual printer that hands can be laid on: it keeps its name when it is plugged
// in again, and a second terminal feels the gauge, resets it, or has it measure its map.
type Bay struct {
	Dir     string // holds the name of the port, and the socket
	Printer *bench.Printer

	mu     sync.Mutex
	unplug func() error // nil: it is not plugged in
}

// bayDir is where the bay of a virtual printer is.
func bayDir(name string) (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("bench: %w; give --dir a directory", err)
	}
	return filepath.Join(dir, "abbed-bench", name), nil
}

func (b *Bay) Port() string   { return filepath.Join(b.Dir, "port") }
func (b *Bay) socket() string { return filepath.Join(b.Dir, "socket") }

// plug puts the printer at a new pseudo-terminal under the old name.
func (b *Bay) plug() error {
	path, unplug, err := bench.Pty(b.Printer)
	if err != nil {
		return fmt.Errorf("bench: make a pseudo-terminal: %w", err)
	}
	err = os.Remove(b.Port())
	if err == nil || errors.Is(err, fs.ErrNotExist) {
		err = os.Symlink(path, b.Port())
	}
	if err != nil {
		return errors.Join(fmt.Errorf("bench: %w", err), unplug())
	}
	b.unplug = unplug
	return nil
}

func (b *Bay) pull() {
	if b.unplug == nil {
		return
	}
	b.Printer.Unplug()
	_ = b.unplug() // how its line ended is nothing to anybody
	b.unplug = nil
	_ = os.Remove(b.Port())
}

// Open makes the bay, and serves its socket until the context ends; wait waits for that.
func (b *Bay) Open(ctx context.Context) (wait func(), err error) {
	if err := os.MkdirAll(b.Dir, 0o755); err != nil {
		return nil, fmt.Errorf("bench: %w; give --dir another directory", err)
	}
	if c, err := net.Dial("unix", b.socket()); err == nil {
		_ = c.Close()
		return nil, console.Refused(fmt.Errorf("bench: a virtual printer is in %s already; give --dir another directory", b.Dir))
	}
	_ = os.Remove(b.socket())
	l, err := net.Listen("unix", b.socket())
	if err != nil {
		return nil, fmt.Errorf("bench: %w; give --dir another directory", err)
	}
	b.mu.Lock()
	err = b.plug()
	b.mu.Unlock()
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	var own sync.WaitGroup
	own.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			own.Go(func() { b.serve(ctx, c) })
		}
	})
	own.Go(func() {
		<-ctx.Done()
		_ = l.Close()
		b.mu.Lock()
		defer b.mu.Unlock()
		b.pull()
	})
	return own.Wait, nil
}

func (b *Bay) serve(ctx context.Context, c net.Conn) {
	defer context.AfterFunc(ctx, func() { _ = c.Close() })()
	defer c.Close()
	for in := bufio.NewScanner(c); in.Scan(); {
		if _, err := fmt.Fprintln(c, b.do(strings.TrimSpace(in.Text()))); err != nil {
			return
		}
	}
}

// BayWords are what a second terminal can say; a number is the gauge's thickness.
const BayWords = "feel, a thickness in mm such as 0.10, reset, unplug, plug, measure"

// notAWord begins the answer to anything else.
const notAWord = "Say one of: "

// do does what was said, and says what came of it.
func (b *Bay) do(word string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	thick, err := 0.10, error(nil)
	switch word {
	case "", "feel":
	case "reset":
		b.Printer.Restart()
		return "The printer restarted."
	case "unplug":
		b.pull()
		return "The cable is out."
	case "plug":
		if b.unplug != nil {
			return "The cable is in already."
		}
		if err := b.plug(); err != nil {
			return err.Error()
		}
		return "The cable is in."
	case "measure":
		b.Printer.MeasureMap()
		return "The printer measured its bed map again, and kept it."
	default:
		if thick, err = strconv.ParseFloat(strings.ReplaceAll(word, ",", "."), 64); err != nil || !(thick > 0 && thick < 10) {
			return notAWord + BayWords + "."
		}
	}
	return Felt(b.Printer.Blade(thick), 0)
}

// feelBay says words to a bay from a second terminal: one, or those of each line of in; an
// empty line feels.
func feelBay(dir, word string, in io.Reader, out io.Writer) error {
	c, err := net.Dial("unix", filepath.Join(dir, "socket"))
	if err != nil {
		return fmt.Errorf("bench: no virtual printer is in %s: start one with abbed bench in another terminal (%w)", dir, err)
	}
	defer c.Close()
	heard := bufio.NewScanner(c)
	say := func(word string) error {
		if _, err := fmt.Fprintln(c, word); err != nil {
			return fmt.Errorf("bench: the virtual printer has ended: %w", err)
		}
		if !heard.Scan() {
			return errors.New("bench: the virtual printer has ended")
		}
		_, err := fmt.Fprintln(out, heard.Text())
		return err
	}
	if word != "" {
		if err := say(word); err != nil {
			return err
		}
		if strings.HasPrefix(heard.Text(), notAWord) {
			return console.Usage(fmt.Errorf("bench: --feel %q is none of them", word))
		}
		return nil
	}
	fmt.Fprintf(out, "Enter feels the gauge; or %s.\n", BayWords)
	for lines := bufio.NewScanner(in); lines.Scan(); {
		if err := say(lines.Text()); err != nil {
			return err
		}
	}
	return nil
}
