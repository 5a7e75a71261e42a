package access

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"time"

	"abbed/config/outside"
	"abbed/daemon/api"
)

// Paired is the answer of POST /api/v1/pair.
type Paired struct {
	// URL is the link; its last part is the code.
	URL     string    `json:"url"`
	Expires time.Time `json:"expires"`
	Role    Role      `json:"role"`
	// Fingerprint is that of the certificate that a browser warns of; "": none of abbed's.
	Fingerprint string `json:"fingerprint"`
}

// pair gives the operator a new one-time link.
func (a *Access) pair(w http.ResponseWriter, r *http.Request) {
	if !a.master(w, r, "A link") {
		return
	}
	role, e := askedRole(http.MaxBytesReader(w, r.Body, mostEnter))
	if e != nil {
		a.refuse(w, r, e)
		return
	}
	p := Paired{Role: role, Fingerprint: a.names.Load().fingerprint}
	p.URL, p.Expires = a.Link(a.Base(), role)
	send(w, http.StatusCreated, p)
}

// askedRole reads {"role": ...}; an empty body is every role.
func askedRole(body io.Reader) (Role, *api.Error) {
	var asked struct {
		Role string `json:"role"`
	}
	b, err := io.ReadAll(body)
	if b = bytes.TrimSpace(b); err == nil && len(b) > 0 {
		err = outside.JSON(b, &asked, true)
	}
	var large *http.MaxBytesError
	var other *json.UnmarshalTypeError
	switch {
	case errors.As(err, &other):
		return 0, api.Errorf(http.StatusBadRequest, "bad-json", `Send {"role":"look"}, or nothing.`, "The body holds a %s where none belongs.", other.Value)
	case errors.As(err, &large):
		return 0, api.Errorf(http.StatusRequestEntityTooLarge, "too-large-body", "send less", "The body is larger than %d bytes.", mostEnter)
	case err != nil:
		return 0, api.Errorf(http.StatusBadRequest, "bad-json", `Send {"role":"look"}, or nothing.`, "The body is not that of a pairing: %v.", err)
	}
	role, ok := Grant(asked.Role)
	if !ok {
		return 0, api.Errorf(http.StatusUnprocessableEntity, "bad-value", "A role is look, operate or sign.", "There is no role %q.", asked.Role)
	}
	return role, nil
}

// list tells the operator which browsers are let in.
func (a *Access) list(w http.ResponseWriter, r *http.Request) {
	if a.master(w, r, "The list of sessions") {
		send(w, http.StatusOK, a.Sessions())
	}
}

// end revokes a session.
func (a *Access) end(w http.ResponseWriter, r *http.Request) {
	if !a.master(w, r, "Ending a session") {
		return
	}
	id := r.PathValue("id")
	ok, err := a.Revoke(id)
	switch {
	case err != nil:
		a.refuse(w, r, api.Errorf(http.StatusInternalServerError, "internal",
			"See that the state directory can be written, and end it again.", "The session is out, but could be back after a restart."))
	case !ok:
		a.refuse(w, r, api.Errorf(http.StatusNotFound, "not-found", "abbed access list lists them.", "There is no session %.40q.", id))
	default:
		w.WriteHeader(http.StatusNoContent)
	}
}

// master refuses whoever has not every role.
func (a *Access) master(w http.ResponseWriter, r *http.Request, what string) bool {
	v := From(r.Context())
	if v.Role.Can(Everything) {
		return true
	}
	if v.Name == "" {
		a.refuse(w, r, api.Errorf(http.StatusUnauthorized, "unauthorized", "Use the operator's token.", "%s needs the operator's token, or a browser session with every role.", what))
	} else {
		a.refuse(w, r, api.Errorf(http.StatusForbidden, "forbidden", "Use the operator's token.", "%s needs every role.", what))
	}
	return false
}

// send writes an answer as JSON.
func send(w http.ResponseWriter, status int, body any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(body)
}
