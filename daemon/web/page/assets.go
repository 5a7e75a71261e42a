package page

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"mime"
	"net/http"
	"path"
	"sync"
)

//go:embed static
var static embed.FS

//go:embed screens
var layouts embed.FS

// screens are the templates, read when the first screen is asked for: a command
// that shows none need not hold them (0.6 MB, and 2 ms of each start).
var screens = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("").Funcs(words).ParseFS(layouts, "screens/*.html"))
})

// asset serves one of our own files. One that is asked for by its present
// content may be kept for ever.
func asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	b, err := static.ReadFile("static/" + name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	h.Set("Cache-Control", "no-cache")
	if r.URL.Query().Get("v") == fingerprint(b) {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	_, _ = w.Write(b)
}

// fingerprint is the fingerprint of a file's content.
func fingerprint(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:6])
}

// file is the URL of an asset, bound to its content.
func file(name string) (string, error) {
	b, err := static.ReadFile("static/" + name)
	if err != nil {
		return "", err
	}
	return "/static/" + name + "?v=" + fingerprint(b), nil
}
