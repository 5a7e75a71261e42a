package ask_test

import (
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
)

// TestBadRecord: whoever names a file that is no record is told what it is instead, and
// what to do, by each command that reads one; never in the words of a parser.
func TestBadRecord(t *testing.T) {
	dir := t.TempDir()
	good, err := os.ReadFile("../../..//deploy/docs/worked-example.json")
	if err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, _ = z.Write(good)
	_ = z.Close()
	record := filepath.Join(dir, "good.json")
	if err := os.WriteFile(record, good, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "folder"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ text, says, next string }{
		"nothing there": {"", "there is no such file", "look at its name"},
		"folder":        {"", "it is a directory", "name a file in it"},
		"empty":         {" \n", "it is empty", "GET runs/{id}/record"},
		"packed":        {packed.String(), "it is compressed", "gunzip"},
		"csv":           {"x,y,z\n1,2,3\n", "it is no record", "GET runs/{id}/record"},
		"list":          {"[1,2]", "it is no record", "GET runs/{id}/record"},
		"cut":           {string(good[:5000]), "breaks off after 5000 bytes", "copy or fetch it again"},
		"damaged":       {string(good[:5000]) + "\x01" + string(good[5000:]), "at byte 5001", "copy or fetch it again"},
		"other kinds":   {`{"version":1,"id":5}`, `in "id", stands a number`, "GET runs/{id}/record"},
		"a table":       {`{"digest":"c0ffee","cautions":[]}`, "not the record of a run", "GET runs/{id}/record"},
		"newer":         {strings.Replace(string(good), `"version":2`, `"version":99`, 1), "format 99", "or a later one"},
	} {
		path := filepath.Join(dir, name)
		if c.text != "" {
			if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		for _, args := range [][]string{
			{"runs", "analyse", record, "--with", path}, {"runs", "analyse", path}, {"runs", "compare", record, path}, {"workshop", "repair", path},
		} {
			if args[1] == "analyse" && len(args) == 3 && (name == "csv" || name == "list" || name == "empty" || name == "packed") {
				continue // read as a CSV of touches
			}
			if name == "nothing there" && args[1] != "analyse" {
				continue // taken for the id of a run
			}
			var out, errs bytes.Buffer
			code := commands.Main(t.Context(), args, &out, &errs)
			said := errs.String()
			if code != console.ExitUsage || !strings.Contains(said, c.says) || !strings.Contains(said, c.next) || !strings.Contains(said, name) || !strings.Contains(said, args[1]) {
				t.Errorf("%v: exit %d: %s\twant %q, %q", args, code, said, c.says, c.next)
			}
			for _, raw := range []string{"invalid character", "cannot unmarshal", "unexpected EOF", "Go value", "Go struct"} {
				if strings.Contains(said, raw) {
					t.Errorf("%v: %s", args, said)
				}
			}
		}
	}
}
