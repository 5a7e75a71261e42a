package known_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/config"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/bench"
	"abbed/gcode/gcodetest"
)

var (
	update    = flag.Bool("update", false, "write anew what is understood of the recorded dialogues")
	fromBench = flag.Bool("bench-dialogues", false, "record the dialogues with the virtual printers anew")
)

// dialogues are recordings: of real printers, made by `abbed doctor --record`,
// and of the virtual ones.
const dialogues = "testdata/dialogues"

// understood is what a recording holds: what doctor made of the printer.
type understood struct {
	Framed   bool
	Facts    link.Facts
	Settings []string // to paste
	Heard    []known.Heard
}

// TestDialogue plays every recorded dialogue and holds what is understood of it
// to the golden file beside it, which -update writes. A recording of another
// printer is added by putting it there.
func TestDialogue(t *testing.T) {
	if *fromBench {
		recordBench(t)
	}
	files, err := filepath.Glob(dialogues + "/*.dialogue")
	if err != nil || len(files) == 0 {
		t.Fatalf("no dialogues in %s: %v", dialogues, err)
	}
	for _, name := range files {
		t.Run(filepath.Base(name), func(t *testing.T) {
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			d, err := gcodetest.Parse(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			var got understood
			synctest.Test(t, func(t *testing.T) {
				p := d.Play(true)
				got = visit(t, gcode.NewSession(p, gcode.Options{}))
				if err := p.Err(); err != nil {
					t.Errorf("%v; if the questions were changed on purpose, record the dialogue again", err)
				}
			})
			golden(t, strings.TrimSuffix(name, ".dialogue")+".json", got)
		})
	}
}

// visit does what doctor does.
func visit(t *testing.T, s *gcode.Session) understood {
	t.Helper()
	defer s.Close()
	if err := s.Greet(context.Background()); err != nil {
		t.Fatal(err)
	}
	e, err := known.Examine(context.Background(), s, config.Default())
	if err != nil {
		t.Fatal(err)
	}
	return understood{s.Framed(), e.Facts, strings.Split(known.YAML(e.Proposals), "\n"), e.Heard}
}

func golden(t *testing.T, name string, got understood) {
	t.Helper()
	b, err := json.MarshalIndent(got, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	b = append(b, '\n')
	if *update {
		if err := os.WriteFile(name, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatalf("%v; -update writes it: look whether it is right", err)
	}
	if !bytes.Equal(b, want) {
		t.Errorf("what is understood is not what %s holds (-update writes it anew):\n%s", name, b)
	}
}

// recordBench records a visit to some virtual printers.
func recordBench(t *testing.T) {
	for name, c := range map[string]struct {
		wording int
		change  func(*bench.Scenario)
	}{
		"bench-numbered":  {1, func(*bench.Scenario) {}},
		"bench-plain":     {2, func(s *bench.Scenario) { s.NoFraming, s.Chatter, s.Waits = true, 3, 2 }},
		"bench-straight":  {3, func(s *bench.Scenario) { s.Straight38, s.Bracket = true, true }},
		"bench-taciturn":  {4, func(s *bench.Scenario) { s.Unknown = []string{"M851", "M211", "M420", "M503"} }},
		"bench-no-limits": {5, func(s *bench.Scenario) { s.Unknown = []string{"M211"}; s.ShortTemps = true }},
	} {
		synctest.Test(t, func(t *testing.T) {
			sc, err := bench.Lookup("healthy")
			if err != nil {
				t.Fatal(err)
			}
			c.change(&sc)
			near, far := net.Pipe()
			p, ended := bench.New(sc, bench.Options{Seed: 11, Wording: c.wording}), make(chan error, 1)
			go func() { ended <- p.Serve(context.Background(), far) }()
			var file bytes.Buffer
			visit(t, gcode.NewSession(gcodetest.Record(near, &file, "the virtual printer of this project: "+name, nil), gcode.Options{}))
			if err := <-ended; err != nil {
				t.Error(err)
			}
			if err := os.WriteFile(filepath.Join(dialogues, name+".dialogue"), file.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		})
	}
}
