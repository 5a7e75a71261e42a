package access

import (
	"fmt"
	"net/http"
	"strings"

	"abbed/daemon/api"
)

// policy is the content policy: nothing but our own files, no frames, no
// inline code.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// headers sets what every answer carries. The referrer is sent to ourselves:
// without it a form's Origin would be null. There is no
// Cross-Origin-Opener-Policy: on plain http it only makes browsers complain.
func headers(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), usb=(), serial=()")
}

// Guard puts the checks of this package before next. listen is the address
// that the listener was bound to; one beyond loopback is refused.
func (a *Access) Guard(listen string, next http.Handler) (http.Handler, error) {
	if err := CheckListen(listen); err != nil {
		return nil, err
	}
	allowed, err := hostsOf(listen)
	if err != nil {
		return nil, fmt.Errorf("access: guard %q: %w", listen, err)
	}
	inner := http.NewServeMux()
	inner.Handle("/", a.checked(next))
	a.mount(inner)
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, api.Errorf(http.StatusForbidden, "forbidden",
			"Do it on the daemon's own page, or as a program without an Origin header.",
			"This change was asked for by a page of another origin."))
	}))
	same := origin.Handler(inner)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		headers(w.Header())
		if !allowed.answers(r) {
			refuse(w, r, api.Errorf(http.StatusMisdirectedRequest, "wrong-host",
				"Use the address that abbed serve printed, such as http://"+listen+"/.",
				"This daemon does not answer to that Host."))
			return
		}
		same.ServeHTTP(w, r)
	}), nil
}

// checked lets through what the visitor may do.
func (a *Access) checked(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, err := a.visitor(r)
		if err == nil {
			err = permit(r, v)
		}
		if err != nil {
			refuse(w, r, err)
			return
		}
		next.ServeHTTP(w, with(r, v))
	})
}

// permit compares what the request needs with what the visitor holds.
func permit(r *http.Request, v Visitor) *api.Error {
	role, open := need(r)
	if v.Role.Can(role) || open && near(r) {
		return nil
	}
	if v.Name == "" {
		return api.Errorf(http.StatusUnauthorized, "unauthorized",
			"Open the one-time link that abbed serve printed, or run abbed pair for a new one; a program sends Authorization: Bearer with the token from the file token in the state directory.",
			"This needs the operator's token or a browser session.")
	}
	return api.Errorf(http.StatusForbidden, "forbidden",
		"Ask the operator for a link with this role.",
		"This session may %s; that needs %s.", v.Role, role)
}

// visitor finds who is behind a request. A wrong token is refused even where
// nothing would be needed, so that it cannot be tried out by reading. A cookie
// that is no session any more is as if it were not there: the browser sends it
// by itself.
func (a *Access) visitor(r *http.Request) (Visitor, *api.Error) {
	given := r.Header.Values("Authorization")
	if len(given) > 0 {
		token, ok := bearer(given)
		if ok && a.token.is(hash(token)) {
			return Visitor{Name: "token", Role: Everything}, nil
		}
		return Visitor{}, a.wrong(r, "The token is not the operator's.")
	}
	if s, ok := a.sessions.find(cookies(r)); ok {
		return Visitor{Name: "browser " + s.ID, Role: s.Role, Session: s.ID}, nil
	}
	return Visitor{}, nil
}

// bearer returns the token of one Authorization header (RFC 6750).
func bearer(given []string) (string, bool) {
	if len(given) != 1 {
		return "", false
	}
	scheme, token, ok := strings.Cut(given[0], " ")
	return strings.TrimSpace(token), ok && strings.EqualFold(scheme, "Bearer") && len(token) <= mostToken
}

// wrong counts a failed try and gives its answer.
func (a *Access) wrong(r *http.Request, text string) *api.Error {
	if !a.limit.take(remote(r)) {
		return tooMany(a.limit.wait(remote(r)))
	}
	return api.Errorf(http.StatusUnauthorized, "unauthorized",
		"Read the file token in the state directory again, or run abbed pair for a new link.", "%s", text)
}

func tooMany(seconds int) *api.Error {
	e := api.Errorf(http.StatusTooManyRequests, "too-many", "Wait, and try again with the right one.", "Too many wrong tries from this address.")
	e.RetryAfter = seconds
	return e
}
