package room

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"abbed/config/outside"
	"abbed/daemon/api"
)

// What is read at most: files of a room, bytes of each, letters of a text.
const (
	mostFiles = 1000
	mostBytes = 16 << 10
	mostText  = 200
)

// List returns the printers that are known in a room, by their names; an empty
// or missing directory has none.
func List(dir string, now time.Time) ([]api.Neighbour, error) {
	out := []api.Neighbour{}
	if dir == "" {
		return out, nil
	}
	d, err := os.Open(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return out, nil
	}
	if err != nil {
		return out, fmt.Errorf("room: read %s: %w", dir, err)
	}
	defer d.Close()
	files, err := d.ReadDir(mostFiles)
	if err != nil && !errors.Is(err, io.EOF) {
		return out, fmt.Errorf("room: read %s: %w", dir, err)
	}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ext) || !f.Type().IsRegular() {
			continue
		}
		if n, ok := read(filepath.Join(dir, f.Name())); ok {
			if n.Silent = !n.Ended && now.Sub(n.At) > silentAfter; now.Sub(n.At) > goneAfter {
				continue
			}
			out = append(out, n)
		}
	}
	slices.SortFunc(out, func(a, b api.Neighbour) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.URL, b.URL)) })
	return out, nil
}

func read(file string) (n api.Neighbour, ok bool) {
	b, err := outside.Read(file, mostBytes)
	if err != nil || json.Unmarshal(b, &n) != nil || n.Name == "" {
		return n, false
	}
	if u, err := url.Parse(n.URL); err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil {
		n.URL = ""
	}
	n.Name, n.Port, n.Expired = short(n.Name), short(n.Port), short(n.Expired)
	n.Todo = n.Todo[:min(len(n.Todo), 20)]
	for i, t := range n.Todo {
		// A command is for the terminal of the machine, and never taken from a file.
		n.Todo[i] = api.Todo{ID: short(t.ID), Act: short(t.Act), Says: short(t.Says), Commands: []string{}, Grave: t.Grave}
	}
	if n.Todo == nil {
		n.Todo = []api.Todo{}
	}
	return n, true
}

// short makes of a text what can be shown.
func short(s string) string {
	if r := []rune(s); len(r) > mostText {
		s = string(r[:mostText])
	}
	return outside.Text(s)
}
