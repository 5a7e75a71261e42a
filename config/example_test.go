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
	if len(got.Given) == 0 || got.Given["survey.rows"] == "" || got.Given["bed"] != "" {
		t.Errorf("given: %v", got.Given)
	}
	got.Given = nil
	want := config.Default()
	want.State = "/h/.local/state/abbed"
	if !reflect.DeepEqual(got, want) {
		t.Errorf("example loads as %+v\nwant %+v", got, want)
	}
	for _, f := range config.Fields() {
		leaf := f.Key[strings.LastIndexByte(f.Key, '.')+1:]
		if !bytes.Contains(there, []byte(leaf+": ")) {
			t.Errorf("%s is missing in the example", f.Key)
		}
		if f.Use == "" || f.Price == "" {
			t.Errorf("%s has no use or no price", f.Key)
		}
	}
}
