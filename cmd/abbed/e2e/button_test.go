package e2e_test

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// pasted returns the lines of the document that a person would paste.
func pasted(t *testing.T, file string) []string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(b), "<!-- the lines below are run by a test -->")
	rest, _, ok2 := strings.Cut(rest, "<!-- the lines above are run by a test -->")
	if !ok || !ok2 {
		t.Fatal("the marks are gone")
	}
	var lines []string
	for line := range strings.Lines(rest) {
		if line, code := strings.CutPrefix(line, "    "); code {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}

// TestButton: every line that the document offers to paste works as it stands,
// save for the paths; each run waits for a person, and nothing moves.
func TestButton(t *testing.T) {
	const speed = 200
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	printer := bench.New(sc, bench.Options{Seed: 3, Speed: speed})
	wire := &cable{printer: printer}
	dir := memoryDir(t)
	sock := filepath.Join(dir, "left.sock")
	settings := demo.DemoSettings(sc, "bench", "127.0.0.1:0", filepath.Join(dir, "state"))
	settings.Socket = sock
	h, err := house.Build(t.Context(), house.Plan{Settings: settings, Clock: clock.Fast(speed), Open: wire.open, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var running sync.WaitGroup
	running.Go(func() { _ = h.Run(ctx) })
	defer running.Wait()
	defer end()
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	own := client.New(h.URL(), strings.TrimSpace(string(token)))
	here := strings.NewReplacer("/run/abbed/left/socket", sock, "/var/lib/abbed/left/token", h.Access.TokenFile(), "http://127.0.0.1:8077", h.URL())
	asked := 0
	for _, line := range pasted(t, "../../..//deploy/docs/operate.md") {
		t.Run(line, func(t *testing.T) {
			if err := client.Patiently(t.Context(), func() error { // until the printer is there (again)
				p, err := own.Printer(t.Context())
				if err == nil && p.Link != api.Ready {
					err = &api.Error{Status: 503, Code: "connecting", RetryAfter: 1}
				}
				return err
			}); err != nil {
				t.Fatal(err)
			}
			var out, errs bytes.Buffer
			args := strings.Fields(here.Replace(line))
			switch args[0] {
			case "abbed":
				if code := commands.Main(t.Context(), args[1:], &out, &errs); code != 0 {
					t.Fatalf("ends with %d: %s", code, errs.String())
				}
			case "curl":
				if _, err := exec.LookPath("curl"); err != nil {
					if os.Getenv("CI") == "true" {
						t.Fatal("curl is missing: .ci/run installs it")
					}
					t.Skip("curl (Debian's package) is not here: the line is not tried")
				}
				c := exec.CommandContext(t.Context(), "sh", "-c", here.Replace(line))
				c.Stdout, c.Stderr = &out, &errs
				if err := c.Run(); err != nil || !strings.Contains(out.String(), "awaiting-confirmation") {
					t.Fatalf("%v: %s%s", err, out.String(), errs.String())
				}
			default:
				t.Fatalf("a line that the test does not know")
			}
			rs, err := own.Runs(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(line, "measure") || strings.Contains(line, "/runs") {
				asked++
				if rs[0].State != api.AwaitingConfirmation || rs[0].Touches != 0 {
					t.Fatalf("%+v", rs[0])
				}
				if err := own.Withdraw(t.Context(), rs[0].ID); err != nil {
					t.Fatal(err)
				}
			}
			if strings.Contains(line, "stop") {
				printer.Restart()
			}
		})
	}
	if rs, err := own.Runs(t.Context()); err != nil || asked < 4 || len(rs) < asked {
		t.Errorf("%d asked for, %d runs, %v", asked, len(rs), err)
	}
	socket := client.New("unix:"+sock, "")
	r, err := socket.StartRun(t.Context(), "repeat")
	if err != nil {
		t.Fatal(err)
	}
	if err := socket.Confirm(t.Context(), r.ID, api.Confirm{Person: "nobody", Cautions: []string{}}); err == nil || !strings.Contains(err.Error(), "forbidden") {
		t.Errorf("a button confirmed: %v", err)
	}
}
