package room

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
)

// ext is what the files of a room end with.
const ext = ".printer.json"

const (
	// Beat is how often a daemon says that it is there, and Pause how long it
	// keeps still between two changes.
	Beat  = 30 * time.Second
	Pause = 2 * time.Second
	// silentAfter is from when on a daemon that said nothing is called silent.
	silentAfter = 4 * Beat
	// goneAfter is from when on one that ended, or is silent, is listed no more.
	goneAfter = 24 * time.Hour
)

// Chair is the place of one daemon in a room.
type Chair struct {
	// Dir is the room; Key tells one daemon from another, such as its state
	// directory.
	Dir, Key string
	// URL is where the printer's page is.
	URL string
}

func (c Chair) file() string {
	sum := sha256.Sum256([]byte(c.Key))
	return filepath.Join(c.Dir, hex.EncodeToString(sum[:8])+ext)
}

// Keep writes what board shows into the room until the context ends, and then
// that the daemon has ended. What cannot be written is tried again at the next
// beat; say is told why, once until it could be written again.
func (c Chair) Keep(ctx context.Context, board *status.Board, say func(error)) {
	var last api.Neighbour
	told := false
	put := func(n api.Neighbour) {
		err := c.write(n)
		if err == nil {
			last, told = n, false
		} else if !told {
			told = true
			say(err)
		}
	}
	for {
		changed := board.Changed()
		if now := c.neighbour(board.Latest()); !alike(now, last) {
			put(now)
		}
		if !wait(ctx, changed) {
			last.Ended, last.Todo, last.At = true, nil, time.Now().UTC()
			put(last)
			return
		}
	}
}

// alike reports whether there is nothing new, and no need to be heard yet.
func alike(a, b api.Neighbour) bool {
	late := a.At.Sub(b.At) >= Beat
	a.At, b.At = time.Time{}, time.Time{}
	return !late && reflect.DeepEqual(a, b)
}

// wait waits for a change, but no shorter than Pause and no longer than Beat;
// false if the context has ended.
func wait(ctx context.Context, changed <-chan struct{}) bool {
	short, long := time.NewTimer(Pause), time.NewTimer(Beat)
	defer short.Stop()
	defer long.Stop()
	select {
	case <-short.C:
	case <-ctx.Done():
		return false
	}
	select {
	case <-changed:
	case <-long.C:
	case <-ctx.Done():
	}
	return ctx.Err() == nil
}

// neighbour says how the daemon stands.
func (c Chair) neighbour(s status.Snapshot) api.Neighbour {
	n := api.Neighbour{Name: s.Printer.Name, URL: c.URL, Port: s.Printer.Port, Link: s.Printer.Link, Applied: s.Applied.State, Proved: s.Applied.Proved, Expired: s.Expiry, Todo: s.Printer.Todo, At: time.Now().UTC()}
	if s.Run != nil {
		n.Run = s.Run.State
	}
	return n
}

// write replaces the file as a whole.
func (c Chair) write(n api.Neighbour) error {
	b, err := json.Marshal(n)
	if err == nil {
		err = os.MkdirAll(c.Dir, 0o755)
	}
	if err != nil {
		return c.fault(err)
	}
	f, err := os.CreateTemp(c.Dir, ".chair-")
	if err != nil {
		return c.fault(err)
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), c.file())
	}
	if err != nil {
		return c.fault(errors.Join(err, os.Remove(f.Name())))
	}
	return nil
}

func (c Chair) fault(err error) error {
	return fmt.Errorf("room: write into %s: %w; the setting room needs a directory that abbed may write to", c.Dir, err)
}
