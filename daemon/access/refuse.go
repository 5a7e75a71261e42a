package access

import (
	"encoding/json"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"abbed/daemon/api"
)

// refuse answers with an error: JSON for programs, a plain page for people.
func (a *Access) refuse(w http.ResponseWriter, r *http.Request, e *api.Error) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	if e.RetryAfter > 0 {
		h.Set("Retry-After", strconv.Itoa(e.RetryAfter))
	}
	if e.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="abbed"`)
	}
	if forPeople(r) {
		a.shut(w, r, e)
		return
	}
	h.Set("Content-Type", "application/json")
	w.WriteHeader(e.Status)
	_ = json.NewEncoder(w).Encode(api.Refusal{Error: e})
}

func plainRefusal(w http.ResponseWriter, _ *http.Request, e *api.Error) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(e.Status)
	_ = refusalPage.Execute(w, e)
}

// forPeople reports whether a browser asked for a page.
func forPeople(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/api/") && strings.Contains(r.Header.Get("Accept"), "text/html")
}

var refusalPage = template.Must(template.New("refusal").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>abbed: refused</title></head>
<body><main><h1>{{.Text}}</h1><p>{{.Hint}}</p><p><a href="/">Back to the page</a></p></main></body></html>
`))
