package access

import (
	"html/template"
	"net/http"
	"time"

	"abbed/config/outside"
	"abbed/daemon/api"
)

// Entrance is what the page of a one-time link shows: a button that posts Code
// to Action, in a field named code; an empty Code is typed by the person.
type Entrance struct {
	Action string
	Code   string
}

// mostEnter bounds the form of a link, bytes.
const mostEnter = 4096

// mount adds the paths of this package.
//
// The link shows a button, and only the button uses the link up: a program that
// looks at links in advance (a chat, a mail scanner) then does no harm, and the
// browser comes to the page from our own origin, so that it sends its Strict
// cookie at once.
func (a *Access) mount(mux *http.ServeMux) {
	mux.HandleFunc("GET /in", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		a.enter(w, r, Entrance{Action: "/in"})
	})
	mux.HandleFunc("GET /in/abbed.crt", func(w http.ResponseWriter, r *http.Request) {
		if a.rules.Authority == "" {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/x-x509-ca-cert") // what phones offer to install
		http.ServeFile(w, r, a.rules.Authority)
	})
	mux.HandleFunc("GET /in/{code}", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		a.enter(w, r, Entrance{Action: "/in", Code: r.PathValue("code")})
	})
	mux.HandleFunc("POST /in", a.signIn)
	mux.HandleFunc("POST /out", a.signOut)
	mux.Handle("POST /api/v1/pair", a.checked(http.HandlerFunc(a.pair)))
	mux.Handle("GET /api/v1/sessions", a.checked(http.HandlerFunc(a.list)))
	mux.Handle("DELETE /api/v1/sessions/{id}", a.checked(http.HandlerFunc(a.end)))
}

// signIn uses a link up and gives the browser its session.
func (a *Access) signIn(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostEnter)
	if a.limit.wait(a.remote(r)) > 0 {
		a.refuse(w, r, tooMany(a.limit.wait(a.remote(r))))
		return
	}
	code := r.PostFormValue("code")
	role, ok := a.links.use(code)
	if !ok || len(code) > mostToken {
		a.refuse(w, r, a.wrong(r, "This code is wrong, was used before, or is older than 15 minutes."))
		return
	}
	text, _, err := a.sessions.add(role, brief(r.UserAgent()))
	if err != nil {
		a.refuse(w, r, api.Errorf(http.StatusInternalServerError, "internal",
			"See that the state directory can be written. Then run abbed access pair.", "The session could not be kept."))
		return
	}
	a.setCookie(w, r, text, int(sessionLife/time.Second))
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// signOut ends the session of the browser that asks.
func (a *Access) signOut(w http.ResponseWriter, r *http.Request) {
	if s, _, ok := a.sessions.find(a.cookies(r)); ok {
		if _, err := a.sessions.revoke(s.ID); err != nil {
			a.refuse(w, r, api.Errorf(http.StatusInternalServerError, "internal",
				"See that the state directory can be written, and sign out again.", "The session is closed, but could be back after a restart."))
			return
		}
	}
	a.setCookie(w, r, "", -1)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// setCookie sets the session's cookie, or removes it (age < 0).
func (a *Access) setCookie(w http.ResponseWriter, r *http.Request, text string, age int) {
	http.SetCookie(w, &http.Cookie{
		Name: a.cookie, Value: text, Path: "/", MaxAge: age,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: a.origin(r).secure,
	})
}

// brief is what a list of sessions shows of a browser's own name for itself.
func brief(agent string) string {
	name := []rune(outside.Text(agent))
	return string(name[:min(len(name), 120)])
}

func plainEnter(w http.ResponseWriter, _ *http.Request, e Entrance) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_ = enterPage.Execute(w, e)
}

var enterPage = template.Must(template.New("enter").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>abbed: this browser</title></head>
<body><main><h1>Let this browser operate the printer?</h1>
<p>The link works once. Stay near the machine, and keep its power switch within reach.</p>
<form method="post" action="{{.Action}}">{{if .Code}}<input type="hidden" name="code" value="{{.Code}}">{{else}}<label>Code <input name="code" autocomplete="off" required></label>{{end}}<button>Yes, this browser</button></form></main></body></html>
`))
