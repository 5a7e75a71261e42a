package config_test

import (
	"bytes"
	"flag"
	"os"
	"reflect"
	"strings"
	"testing"

	"abbed/config"
)

var update = flag.Bool("update", false, "write the example file anew")

const example = "../deploy/abbed.example.yaml"

// The example file holds every key, and every key at its default.
func TestExampleIsTheDefault(t *testing.T) {
	var b bytes.Buffer
	if err := config.WriteExample(&b); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(example, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	there, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(there, b.Bytes()) {
		t.Errorf("%s is not what WriteExample writes; go test ./config -update", example)
	}
	got, err := config.Load(config.Options{File: example, Environ: []string{"HOME=/h"}})
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Given) == 0 || got.Given["effort"] == "" || got.Given["bed"] != "" {
		t.Errorf("given: %v", got.Given)
	}
	got.Given = nil
	want := config.Default()
	want.State = "/h/.local/state/abbed"
	if !reflect.DeepEqual(got, want) {
		t.Errorf("example loads as %+v\nwant %+v", got, want)
	}
	chosen := 0
	for _, f := range config.Fields() {
		if !f.More {
			chosen++
		}
		if bytes.Contains(there, []byte("# "+f.Says[:28])) == f.More {
			t.Errorf("%s: in the example: %v", f.Key, !f.More)
		}
		if n := len(f.Says); n < 28 || n > 2*76 || !strings.HasSuffix(f.Says, ".") {
			t.Errorf("%s: %d characters: %q", f.Key, n, f.Says)
		}
	}
	if chosen > 28 {
		t.Errorf("%d settings in the example", chosen)
	}
}

// TestWriteAll: the list holds every setting.
func TestWriteAll(t *testing.T) {
	var b bytes.Buffer
	if err := config.WriteAll(&b); err != nil {
		t.Fatal(err)
	}
	for _, f := range config.Fields() {
		if !strings.Contains(b.String(), "\n"+f.Key+": ") || !strings.Contains(b.String(), strings.Fields(f.Says)[0]) {
			t.Errorf("%s is missing", f.Key)
		}
	}
}
