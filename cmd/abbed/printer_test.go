package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPrinterByName: a command finds the daemon of a printer by its settings file.
func TestPrinterByName(t *testing.T) {
	dir, state := t.TempDir(), t.TempDir()
	for name, text := range map[string]string{
		"left":  "listen: 127.0.0.1:8079\nstate: " + state + "\n",
		"right": "listen: 127.0.0.1:8080\nstate: " + state + "\naccess: {certificate: c.pem, key: k.pem}\n",
		"bad":   "listen: 8\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, want := range map[string]string{"left": "http://127.0.0.1:8079", "right": "https://127.0.0.1:8080"} {
		k := caller{printer: name}
		if err := k.find(t.TempDir(), dir); err != nil || k.url != want || k.token != filepath.Join(state, "token") {
			t.Errorf("%s: %s %s, %v", name, k.url, k.token, err)
		}
	}
	for name, says := range map[string]string{"middle": "abbed setup", "../left": "abbed setup", "bad": "listen"} {
		k := caller{printer: name}
		var e *exit
		if err := k.find(dir); !errors.As(err, &e) || e.code != exitUsage || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var out, errs bytes.Buffer
	if code := Main(t.Context(), []string{"status", "--printer", "left", "--url", "http://127.0.0.1:1"}, &out, &errs); code == exitDone || !strings.Contains(errs.String(), "printer") {
		t.Errorf("both a name and an address: exit %d, %s", code, &errs)
	}
}
