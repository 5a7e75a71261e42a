package access

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"abbed/daemon/api"
)

// Role is what a visitor may do; roles add up.
type Role uint8

// Roles.
const (
	// Look may read everything.
	Look Role = 1 << iota
	// confirm may give a person's word for a run, and move the head in it.
	confirm
	// Sign may sign a table off, apply it, undo it.
	Sign
	// Trigger may do what a button does: ask for a run that waits for a
	// person's confirmation, have the signed-off correction put back on, ask
	// for a stop.
	Trigger
	// Scrape may read metrics and health, and nothing else.
	Scrape

	// Nobody may do what loopback leaves open.
	Nobody Role = 0
	// Operate may move the machine: runs, gauging, answers.
	Operate = confirm | Trigger
	// Everything is the operator's.
	Everything = Look | Operate | Sign
)

// Can reports whether r holds all of need; whoever looks may scrape.
func (r Role) Can(need Role) bool {
	if r&Look != 0 {
		r |= Scrape
	}
	return r&need == need
}

// String names the roles.
func (r Role) String() string {
	var names []string
	for _, n := range []struct {
		role Role
		name string
	}{{Look, "look"}, {Operate, "operate"}, {Sign, "sign"}, {Trigger, "trigger"}, {Scrape, "scrape"}} {
		if r&n.role == n.role && (n.role != Trigger || !r.Can(Operate)) {
			names = append(names, n.name)
		}
	}
	return strings.Join(names, " ")
}

// MarshalText writes the names of the roles.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads the names of roles.
func (r *Role) UnmarshalText(b []byte) error {
	known := map[string]Role{"look": Look, "operate": Operate, "sign": Sign, "trigger": Trigger, "scrape": Scrape}
	*r = Nobody
	for _, name := range strings.Fields(string(b)) {
		role, ok := known[name]
		if !ok {
			return fmt.Errorf("access: no role %q", name)
		}
		*r |= role
	}
	return nil
}

// Grant returns the role that a link of a name gives: each holds the ones
// before it. "" is sign.
func Grant(name string) (Role, bool) {
	r, ok := map[string]Role{"look": Look, "operate": Look | Operate, "sign": Everything, "": Everything}[name]
	return r, ok
}

// Visitor is who is behind a request.
type Visitor struct {
	// Name is for the audit: "token", "browser 1f3a", or "" for nobody known.
	Name string
	Role Role
	// Session identifies the session of a browser, "" otherwise.
	Session string
}

// operator is the Visitor.Name of whoever has the operator's token.
const operator = "token"

type visitorKey struct{}

// found is a Visitor, and what was wrong with the token that was shown.
type found struct {
	Visitor
	wrong *api.Error
}

// From returns the visitor behind a request's context; the zero Visitor if
// Guard did not pass it.
func From(ctx context.Context) Visitor {
	f, _ := ctx.Value(visitorKey{}).(found)
	return f.Visitor
}

// wrong returns what was wrong with the token that was shown, or nil.
func wrong(ctx context.Context) *api.Error {
	f, _ := ctx.Value(visitorKey{}).(found)
	return f.wrong
}

// Who names the visitor behind a request, or "".
func Who(r *http.Request) string { return From(r.Context()).Name }

func with(r *http.Request, v Visitor, wrong *api.Error) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), visitorKey{}, found{v, wrong}))
}

// stops are the paths of the stop request: the API's and the page's form.
var stops = []string{"/api/v1/stop", "/do/stop"}

// triggers are the paths of what a button does.
var triggers = []string{"/api/v1/runs", "/api/v1/applied/prove", "/api/v1/applied/reapply"}

// scrapes are the paths that a scraper may read.
var scrapes = []string{"/metrics", "/healthz"}

// operates are the beginnings of the paths that move the machine and sign
// nothing. A change under any other path needs every role, so that a path that
// is forgotten here is closed rather than open.
var operates = []string{"/api/v1/printer/", "/api/v1/runs", "/api/v1/applied/prove", "/do/open", "/do/run", "/do/prove"}

// need is what a request needs, and whether loopback is enough for it.
func need(r *http.Request) (role Role, open bool) {
	path := r.URL.Path
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodOptions:
		if path == "/favicon.ico" || isAsset(path) {
			return Nobody, true // our own files, which are in every release
		}
		if slices.Contains(scrapes, path) {
			return Scrape, true
		}
		return Look, true
	case http.MethodPost:
		if slices.Contains(stops, path) {
			return Trigger, true
		}
		if slices.Contains(triggers, path) {
			return Trigger, false
		}
		if isGap(path) {
			return Look, true
		}
	}
	if strings.HasSuffix(path, "/signoff") {
		return Everything, false
	}
	for _, begins := range operates {
		if path == begins || strings.HasPrefix(path, strings.TrimSuffix(begins, "/")+"/") {
			return Operate, false
		}
	}
	return Everything, false
}

// isAsset reports whether path is /static/{file} with a plain name.
func isAsset(path string) bool {
	name, ok := strings.CutPrefix(path, "/static/")
	return ok && name != "" && !strings.ContainsAny(name, "/\\%")
}

// isGap reports whether path is /api/v1/runs/{id}/gap with a plain id.
func isGap(path string) bool {
	id, ok := strings.CutPrefix(path, "/api/v1/runs/")
	if !ok {
		return false
	}
	if id, ok = strings.CutSuffix(id, "/gap"); !ok || id == "" {
		return false
	}
	return !strings.ContainsFunc(id, func(c rune) bool {
		return c != '-' && (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z')
	})
}
