package e2e_test

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// floors says what each package may import of the house; a name stands for its
// sub-packages too where they are not listed themselves. Tests may import more.
var floors = map[string][]string{
	"config/outside":        {},
	"config/say":            {}, // everybody may import it
	"config":                {"analysis/typed", "probe/record"},
	"gcode":                 {"gcode/clock", "config/outside"},
	"gcode/clock":           {},
	"gcode/port":            {"config/outside"},
	"gcode/bench":           {}, // but its own rooms
	"gcode/bench/mechanics": {},
	"gcode/bench/wire":      {"gcode/bench/mechanics"},
	"probe/record":          {},
	"gcode/dialect":         {"gcode", "probe/record"},
	"gcode/gcodetest":       {"gcode"},
	"gcode/printfile":       {"gcode"},
	"gcode/patches":         {"probe/record"},
	"analysis":              {"probe/record", "analysis/fit", "analysis/model", "analysis/result", "analysis/steady", "analysis/plate", "analysis/given"},
	"analysis/result":       {"probe/record", "analysis/fit"},
	"analysis/steady":       {"probe/record", "analysis/fit", "analysis/model", "analysis/result"},
	"analysis/plate":        {"probe/record", "analysis/fit", "analysis/model", "analysis/result", "analysis/steady"},
	"analysis/plan":         {"probe/record", "analysis/fit", "analysis/model", "analysis/steady"},
	"analysis/given":        {"probe/record", "analysis/result", "analysis/steady", "analysis/typed"},
	"analysis/compare":      {"probe/record", "analysis/fit", "analysis", "analysis/result", "analysis/steady"},
	"analysis/fit":          {},
	"analysis/model":        {"probe/record"},
	"analysis/workshop":     {"analysis/fit"},
	"analysis/typed":        {},
	"analysis/proof":        {"probe/record", "analysis/fit", "analysis/typed"},
	"probe":                 {"gcode", "gcode/clock", "gcode/dialect", "probe/record", "analysis", "analysis/plan", "analysis/steady"},
	"daemon/api":            {"analysis", "analysis/compare", "analysis/result", "analysis/steady", "analysis/typed", "config/outside", "probe/record"},
	"daemon/status":         {"daemon/api", "analysis", "probe/record", "analysis/compare"},
	"daemon/room":           {"daemon/api", "daemon/status", "config/outside"},
	"daemon/store":          {"analysis", "probe/record"},
	"daemon/access":         {"daemon/api", "analysis", "probe/record", "config/outside"},
	"daemon/apply":          {"gcode", "gcode/dialect", "analysis", "probe/record", "daemon/store"},
	"daemon/known":          {"config", "daemon/api", "daemon/link", "gcode", "gcode/dialect", "probe/record"},
	"daemon/results":        {"analysis/proof", "config/outside", "gcode/patches", "analysis", "analysis/workshop", "config", "daemon/api", "daemon/refuse", "daemon/store", "probe", "probe/record", "analysis/compare", "analysis/steady"},
	"daemon/correction":     {"analysis", "config", "daemon/access", "daemon/api", "daemon/apply", "daemon/known", "daemon/link", "daemon/refuse", "daemon/results", "daemon/status", "daemon/store", "gcode", "gcode/clock", "gcode/dialect", "probe", "probe/record", "analysis/compare"},
	"daemon/run":            {"!gcode/bench", "!gcode/gcodetest", "!cmd", "!daemon/web", "!daemon/metrics", "!daemon/client", "!daemon/room", "!daemon/apply"},
	"daemon/refuse":         {"daemon/api", "daemon/store", "gcode", "probe/record"},
	"daemon/link":           {"daemon/api", "gcode", "gcode/clock", "gcode/dialect", "gcode/port", "probe/record"},
	"daemon/metrics":        {"daemon/api", "daemon/status", "daemon/access", "analysis", "probe/record", "analysis/compare"},
	"daemon/client":         {"daemon/api", "daemon/status", "daemon/access", "analysis", "probe/record"},
	"daemon/web":            {"daemon/api", "daemon/status", "daemon/access", "daemon/web", "analysis", "probe/record", "config/outside"},
	"daemon":                {"!gcode/bench", "!gcode/gcodetest", "!cmd"},
	"cmd/abbed":             {"!nothing"},
	"cmd/abbed/process":     {"config/outside"},
}

type listed struct {
	ImportPath string
	Imports    []string
}

// TestFloors holds every package to its floor: who may import whom.
func TestFloors(t *testing.T) {
	for _, p := range list(t) {
		name, ok := strings.CutPrefix(p.ImportPath, "abbed/")
		if !ok || strings.HasPrefix(name, "deploy/") {
			continue
		}
		allowed, ok := floorOf(name)
		if !ok {
			t.Errorf("package %s stands on no floor: add it to the table", name)
			continue
		}
		for _, imp := range p.Imports {
			if other, ours := strings.CutPrefix(imp, "abbed/"); ours && !may(name, other, allowed) {
				t.Errorf("%s imports %s, which its floor does not allow", name, other)
			}
		}
	}
}

// floorOf returns the entry of a package, or of the nearest folder above it.
func floorOf(name string) ([]string, bool) {
	for at := name; at != "."; at = filepath.Dir(at) {
		if allowed, ok := floors[at]; ok {
			return allowed, true
		}
	}
	return nil, false
}

func may(name, other string, allowed []string) bool {
	if other == "config/say" && name != "gcode/bench" && !strings.HasPrefix(name, "gcode/bench/") {
		return true
	}
	if strings.HasPrefix(other, name+"/") && !slices.Contains([]string{"gcode", "daemon", "analysis"}, name) {
		return true
	}
	forbids := false
	for _, a := range allowed {
		if bad, not := strings.CutPrefix(a, "!"); not {
			forbids = true
			if other == bad || strings.HasPrefix(other, bad+"/") {
				return false
			}
		} else if other == a || a == "daemon/web" && strings.HasPrefix(other, a+"/") {
			return true
		}
	}
	return forbids
}

// TestOneSender holds that nothing but the head sends a motion, that the page
// and the metrics never reach a session, and that one package knows the metrics
// library.
func TestOneSender(t *testing.T) {
	root := "../../../"
	only := map[string][]string{
		".Move(ctx":                     {"probe/head.go", "gcode/session.go", "probe/dialogue.go", "daemon/run/share.go" /* times what Head sends, and sends nothing of its own */},
		"gcode.NewMotion(":              {"gcode/command.go", "gcode/dialect/build.go"},
		`"github.com/prometheus/client`: {"daemon/metrics/"},
		"gcode.NewSession(":             {"daemon/link/keep.go", "cmd/abbed/setup/doctor.go"},
	}
	err := filepath.WalkDir(root, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for what, where := range only {
			allowed := strings.HasPrefix(rel, "gcode/bench/") || strings.HasPrefix(rel, "gcode/gcodetest/") ||
				slices.ContainsFunc(where, func(w string) bool { return strings.HasPrefix(rel, w) })
			if strings.Contains(string(b), what) && !allowed {
				t.Errorf("%s holds %q, which only %v may", rel, what, where)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// list returns the packages of the module with their imports.
func list(t *testing.T) []listed {
	t.Helper()
	c := exec.Command("go", "list", "-json=ImportPath,Imports", "abbed/...")
	out, err := c.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	d := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// TestRooms holds that a room can be read in one sitting.
func TestRooms(t *testing.T) {
	for _, p := range list(t) {
		name, _ := strings.CutPrefix(p.ImportPath, "abbed/")
		if !strings.HasPrefix(name, "analysis") && !strings.HasPrefix(name, "cmd") {
			continue
		}
		files, err := filepath.Glob("../../..//" + name + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		files = slices.DeleteFunc(files, func(f string) bool { return strings.HasSuffix(f, "_test.go") })
		if len(files) > 22 {
			t.Errorf("%s has %d files; another noun is hiding in it", name, len(files))
		}
	}
}
