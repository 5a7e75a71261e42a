package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

// TestThreats holds that each test named in the table of threats exists.
func TestThreats(t *testing.T) {
	var table []byte
	for _, name := range []string{"threats", "hazards"} {
		b, err := os.ReadFile("../../deploy/docs/" + name + ".md")
		if err != nil {
			t.Fatal(err)
		}
		table = append(table, b...)
	}
	named := regexp.MustCompile("`([a-z/]+) ((?:Test|Fuzz)[A-Za-z0-9]+)`").FindAllSubmatch(table, -1)
	if len(named) < 60 {
		t.Errorf("only %d tests are named", len(named))
	}
	for _, n := range named {
		files, err := filepath.Glob(filepath.Join("../..", string(n[1]), "*_test.go"))
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
