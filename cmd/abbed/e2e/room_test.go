package e2e_test

import (
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/gcode/bench"
)

// TestRoomOfTwo: two daemons of one machine list each other, on the page and in
// the API; what is to be done at one is shown at the other, and that it ended.
func TestRoomOfTwo(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	shared := filepath.Join(memoryDir(t), "room")
	dirs := []string{memoryDir(t), memoryDir(t)}
	synctest.Test(t, func(t *testing.T) {
		var worlds []*world
		for i, name := range []string{"left", "right"} {
			w := open(t, dirs[i], sc, &cable{printer: bench.New(sc, bench.Options{Seed: 3})}, func(s *config.Settings) { s.Name, s.Room = name, shared })
			worlds = append(worlds, w)
			ready(t, w)
		}
		left, right := worlds[0], worlds[1]
		defer left.close()
		at := func(w *world, name string) (n api.Neighbour) {
			all, err := w.api.Room(t.Context())
			if err != nil || len(all) != 2 {
				t.Fatalf("%+v, %v", all, err)
			}
			for _, n := range all {
				if n.Name == name {
					return n
				}
			}
			t.Fatalf("no %s in %+v", name, all)
			return n
		}
		time.Sleep(5 * time.Second)
		if n := at(left, "right"); n.Link != api.Ready || len(n.Todo) != 0 || n.URL != right.house.URL()+"/" {
			t.Errorf("%+v", n)
		}
		if _, err := right.api.StartRun(t.Context(), "repeat"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(5 * time.Second)
		if n := at(left, "right"); n.Run != api.AwaitingConfirmation || len(n.Todo) != 1 || n.Todo[0].ID != status.TodoConfirmation {
			t.Errorf("%+v", n)
		}
		c := http.Client{Transport: left.transport.(http.RoundTripper)}
		r, err := c.Get(left.house.URL() + "/room")
		if err != nil {
			t.Fatal(err)
		}
		page, err := io.ReadAll(r.Body)
		_ = r.Body.Close()
		for _, want := range []string{">Open left</a>", ">Open right</a>", "To do: <b>Confirm the run at the machine, or withdraw it.</b>"} {
			if err != nil || !strings.Contains(string(page), want) {
				t.Errorf("the page does not show %q", want)
			}
		}
		// The page of a printer says which one it is: at the top, where a run is confirmed, and
		// on its stop button.
		runs, err := right.api.Runs(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range []string{"/", "/runs", "/applied", "/room", "/run/" + runs[0].ID} {
			page := right.screen(t, path)
			for _, want := range []string{" · right · abbed</title>", "<span>right</span>", "Ask right to stop"} {
				if !strings.Contains(page, want) {
					t.Errorf("%s does not show %q", path, want)
				}
			}
			if path == "/run/"+runs[0].ID && !strings.Contains(page, "<b>right</b>") {
				t.Errorf("the confirmation does not name the printer")
			}
		}
		right.close()
		if n := at(left, "right"); !n.Ended {
			t.Errorf("%+v", n)
		}
	})
}

// TestNameInTheRoom: a printer that has no name is not called by the number of its
// pseudo-terminal, and one that is given a name is called so from the reload on.
func TestNameInTheRoom(t *testing.T) {
	sc := lookup(t, "healthy")
	dir, shared := memoryDir(t), filepath.Join(memoryDir(t), "room")
	synctest.Test(t, func(t *testing.T) {
		var first config.Settings
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 3})}, func(s *config.Settings) {
			s.Name, s.Port, s.Room = "", "/dev/pts/0", shared
			first = *s
		})
		defer w.close()
		ready(t, w)
		for _, want := range []string{"printer", "left"} {
			time.Sleep(5 * time.Second) // a change is in the room after 2 s
			if all, err := w.api.Room(t.Context()); err != nil || len(all) != 1 || all[0].Name != want {
				t.Errorf("%+v, %v; want %q", all, err, want)
			}
			if page := w.screen(t, "/"); !strings.Contains(page, "<span>"+want+"</span>") {
				t.Errorf("the page does not name %q", want)
			}
			first.Name = "left"
			if _, err := w.house.Daemon.Renew(first); err != nil {
				t.Fatal(err)
			}
		}
	})
}
