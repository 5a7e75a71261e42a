package ask_test

import (
	"bytes"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
)

// TestStatusOfAnOlderDaemon: after an upgrade the daemon that runs is the old one
// until somebody starts it again; the new program's status tells what that knows.
func TestStatusOfAnOlderDaemon(t *testing.T) {
	answers := map[string]string{
		"/api/v1/printer": `{"link":"ready","sentence":"The printer answers."}`,
		"/api/v1/runs":    `[]`,
		"/api/v1/applied": `{"state":"none","sentence":"No correction is applied."}`,
	}
	old := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		text, known := answers[r.URL.Path]
		if !known {
			w.WriteHeader(http.StatusNotFound)
			text = `{"error":{"code":"not-found","text":"there is no such path here","hint":"the paths are listed"}}`
		}
		_, _ = io.WriteString(w, text)
	}))
	defer old.Close()
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("x\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := commands.Main(t.Context(), []string{"status", "--url", old.URL, "--token-file", token}, &out, &errs); code != console.ExitDone || !strings.Contains(out.String(), "No correction is applied.") {
		t.Errorf("exit %d: %s%s", code, out.String(), errs.String())
	}
}
