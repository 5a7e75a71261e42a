package e2e_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/outside"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

// turned is text that moves a cursor, turns what follows, and has no width.
const turned = "a\x1b[2Jb\u202ec\u200bd"

// shownWhole reports whether a text can be shown, line by line.
func shownWhole(text string) bool {
	for line := range strings.Lines(text) {
		line = strings.ReplaceAll(strings.TrimSuffix(line, "\n"), "\t", " ")
		if outside.Text(line) != line {
			return false
		}
	}
	return true
}

// TestTextsFromOutside: whatever stands in a settings file, the environment, the
// arguments or a record, the terminal gets text that can be shown.
func TestTextsFromOutside(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	t.Setenv("ABBED_"+turned, "1")
	quoted, _ := json.Marshal(turned)
	for name, args := range map[string][]string{
		"an unknown flag":      {"serve", "--" + turned},
		"an unknown letter":    {"serve", "-\u202e"},
		"an unknown command":   {turned},
		"an argument too many": {"version", turned},
		"a value of a flag":    {"serve", "--listen", turned},
		"a key of --set":       {"serve", "--set", turned + "=1"},
		"a value of --set":     {"serve", "--set", "retention.days=" + turned},
		"a key of the file":    {"serve", "--port", "x", "--config", file("key.yaml", string(quoted)+": 1\n")},
		"a value of the file":  {"serve", "--port", "x", "--config", file("value.yaml", "layout: "+string(quoted)+"\n")},
		"a port of the file":   {"serve", "--config", file("port.yaml", "port: "+string(quoted)+"\n")},
		"an anchor":            {"serve", "--port", "x", "--config", file("anchor.yaml", "layout: *\u202eb\u200b\n")},
		"a tag":                {"serve", "--port", "x", "--config", file("tag.yaml", "layout: !\u202etag 1\n")},
		"a word of the file":   {"serve", "--port", "x", "--config", file("word.yaml", "words: {templates: {map: "+string(quoted)+"}}\n")},
		"a file's name":        {"serve", "--port", "x", "--config", filepath.Join(dir, turned)},
		"a record":             {"runs", "analyse", file("record.json", `{"version":1,"id":`+string(quoted)+`,"for":`+string(quoted)+`,"faults":[{"code":"x","text":`+string(quoted)+`,"hint":""}]}`)},
		"a member of a record": {"runs", "analyse", file("member.json", `{"version":1,`+string(quoted)+`:1,"\u017fteps":[]}`)},
	} {
		var out, errs bytes.Buffer
		ctx, end := context.WithCancel(t.Context())
		end() // what serves ends at once
		if code := commands.Main(ctx, args, &out, &errs); code == console.ExitDone && name != "a record" {
			t.Errorf("%s: exit %d", name, code)
		}
		if !shownWhole(out.String()) || !shownWhole(errs.String()) {
			t.Errorf("%s: %q %q", name, out.String(), errs.String())
		}
	}
}

// TestTextsFromThePrinter: what a printer says of itself reaches the API, the page,
// status and doctor as text that can be shown.
func TestTextsFromThePrinter(t *testing.T) {
	p := wicked(t, "M115", func(w io.Writer) { _, _ = io.WriteString(w, "MODEL:a\u202eb\u200bc BUILD:\u2066x\u2069\nok\n") })
	h := livingHouse(t, func(s *config.Settings) { s.Port = p.port })
	a := client.New(h.URL(), tokenOf(t, h))
	said, err := a.Printer(t.Context())
	for end := time.Now().Add(20 * time.Second); err == nil && said.Link != api.Ready && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		said, err = a.Printer(t.Context())
	}
	if err != nil || len(said.Identity) != 2 {
		t.Fatalf("%+v, %v", said, err)
	}
	for k, v := range said.Identity {
		if !shownWhole(k) || !shownWhole(v) {
			t.Errorf("%q: %q", k, v)
		}
	}
	for _, path := range []string{"/", "/printer", "/api/v1/printer"} {
		if text := fetched(t, "GET", h.URL()+path, ""); !shownWhole(text) {
			t.Errorf("%s: %q", path, text)
		}
	}
	for _, args := range [][]string{{"status", "--url", h.URL(), "--token-file", h.Access.TokenFile()}, {"doctor", "--port", p.port}} {
		if _, out, errs := runOn(t, args...); !shownWhole(out) || !shownWhole(errs) || args[0] == "doctor" && !strings.Contains(out, "model: a?b?c") {
			t.Errorf("%v: %q %q", args, out, errs)
		}
	}
}

// TestFlagTexts: a value that a flag does not take is answered by what it takes, and
// not by what a library says of it.
func TestFlagTexts(t *testing.T) {
	for says, args := range map[string][]string{
		`--seed "-1": a whole number is wanted`:              {"demo", "--seed", "-1"},
		`--speed "1e999": a number is wanted`:                {"demo", "--speed", "1e999"},
		`--oldest "9999999h": a time with its unit`:          {"correction", "carry", "--oldest", "9999999h"},
		`--quick "maybe": true or false is wanted`:           {"measure", "--quick=maybe"},
		`--bed "1,2": has 2 numbers, needs 4`:                {"serve", "--bed", "1,2"},
		`silence = "9999999h": is longer than any time here`: {"serve", "--port", "x", "--set", "silence=9999999h"},
	} {
		code, _, errs := runOn(t, args...)
		if code != console.ExitUsage || !strings.Contains(errs, says) || strings.Contains(errs, "strconv") || strings.Contains(errs, "time: ") {
			t.Errorf("%v: exit %d: %s", args, code, errs)
		}
	}
}

// TestNoFile: where a file is expected, a pipe is refused at once: nobody may ever
// write into it.
func TestNoFile(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, args := range map[string][]string{
		"settings": {"serve", "--port", "x", "--config", pipe},
		"a record": {"runs", "analyse", pipe},
		"a store":  {"data", "import", "--state", filepath.Join(dir, "new"), pipe},
		"a token":  {"status", "--token-file", pipe},
	} {
		done := make(chan string, 1)
		go func() {
			var out, errs bytes.Buffer
			commands.Main(context.Background(), args, &out, &errs)
			done <- errs.String()
		}()
		select {
		case said := <-done:
			if !strings.Contains(said, "regular file") && !strings.Contains(said, "a pipe or a device") {
				t.Errorf("%s: %s", name, said)
			}
		case <-time.After(10 * time.Second):
			t.Errorf("%s: waits for ever", name)
		}
	}
	// The list of sessions is put aside, as one that is damaged.
	state := t.TempDir()
	if err := syscall.Mkfifo(filepath.Join(state, "sessions.json"), 0o600); err != nil {
		t.Fatal(err)
	}
	livingHouse(t, func(s *config.Settings) { s.State = state })
	if info, err := os.Stat(filepath.Join(state, "sessions.json.damaged")); err != nil || info.Mode().IsRegular() {
		t.Errorf("%v, %v", info, err)
	}
}

// TestWildRecord: numbers that no printer on a desk has are refused by name, and not
// reckoned with.
func TestWildRecord(t *testing.T) {
	good := `{"version":1,"id":"r","touches":[{"n":1,"t":1,"place":{"u":1,"v":1},"z":0,"series":"survey","spot":-1}],"gaugings":[{"n":2,"t":2,"place":{"u":1,"v":1},"z":0.1,"blade":0.1,"step":0.02}]}`
	for name, c := range map[string]struct{ from, to, says string }{
		"as it was":     {"", "", ""},
		"a step":        {`"step":0.02`, `"step":1e18`, "step 1e+18"},
		"a height":      {`"z":0.1`, `"z":1e308`, "z 1e+308"},
		"a place":       {`"place":{"u":1,`, `"place":{"u":-1e9,`, "x -1e+09"},
		"a time":        {`"t":2`, `"t":1e12`, "1e+12 s since"},
		"a thick blade": {`"blade":0.1`, `"blade":1e5`, "blade 100000"},
	} {
		path := filepath.Join(t.TempDir(), "record.json")
		if err := os.WriteFile(path, []byte(strings.Replace(good, c.from, c.to, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		code := commands.Main(t.Context(), []string{"runs", "analyse", path}, &out, &errs)
		if c.says == "" && code != console.ExitDone || c.says != "" && (code != console.ExitUsage || !strings.Contains(errs.String(), c.says) || !strings.Contains(errs.String(), "GET runs/{id}/record")) {
			t.Errorf("%s: exit %d: %s", name, code, errs.String())
		}
	}
}
