package e2e_test

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestThreats holds that each row of the tables of threats and hazards names a
// test, and that each test named exists.
func TestThreats(t *testing.T) {
	var table []byte
	for _, name := range []string{"threats", "hazards"} {
		b, err := os.ReadFile("testdata/" + name + ".md")
		if err != nil {
			t.Fatal(err)
		}
		table = append(table, b...)
	}
	test := regexp.MustCompile("`([a-z0-9/]+) ((?:Test|Fuzz)[A-Za-z0-9]+)`")
	rows := 0
	for line := range strings.Lines(string(table)) {
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| what can go wrong") {
			continue
		}
		rows++
		if cells := strings.Split(strings.Trim(line, "|\n "), "|"); len(cells) != 3 || !test.MatchString(cells[2]) {
			t.Errorf("a row that names no test, or has not three cells: %s", line)
		}
	}
	if rows < 40 {
		t.Errorf("only %d rows", rows)
	}
	named := test.FindAllSubmatch(table, -1)
	if len(named) < 60 {
		t.Errorf("only %d tests are named", len(named))
	}
	for _, n := range named {
		files, err := filepath.Glob(filepath.Join("../../../", string(n[1]), "*_test.go"))
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, file := range files {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			found = found || bytes.Contains(b, []byte("func "+string(n[2])+"("))
		}
		if !found {
			t.Errorf("there is no %s in %s", n[2], n[1])
		}
	}
}
