package access

import (
	"fmt"
	"net"
	"net/http"
	"slices"
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
	if err := CheckListen(listen, a.rules); err != nil {
		return nil, err
	}
	a.listen = listen
	if err := a.Rename(a.rules); err != nil {
		return nil, fmt.Errorf("access: guard %q: %w", listen, err)
	}
	inner := http.NewServeMux()
	inner.Handle("/", a.checked(next))
	a.mount(inner)
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a.refuse(w, r, api.Errorf(http.StatusForbidden, "forbidden",
			"Do it on the daemon's own page, or as a program without an Origin header.",
			"This change was asked for by a page of another origin."))
	}))
	same := origin.Handler(inner)
	return seated(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		headers(w.Header())
		if !onSocket(r) && !a.names.Load().hosts.answers(r, a.origin(r).secure) {
			a.refuse(w, r, api.Errorf(http.StatusMisdirectedRequest, "wrong-host",
				"Use the address that abbed serve printed, such as "+a.Base()+"/; a further name goes into access.hosts.",
				"This daemon does not answer to that Host."))
			return
		}
		if embedded(r) {
			a.refuse(w, r, api.Errorf(http.StatusForbidden, "forbidden",
				"Open the daemon's own page.",
				"A page of another origin asked for this behind its reader's back."))
			return
		}
		v, wrong := a.visitor(r)
		leave, many := a.crowd.enter(r, v)
		if many != nil {
			a.refuse(w, r, many)
			return
		}
		defer leave()
		same.ServeHTTP(w, with(r, v, wrong))
	})), nil
}

// embedded reports whether a page of another origin asks for something within
// itself: a picture, a script, a frame, an event stream. It could not read the
// answer, but the answer costs the computer beside the printer time. A link that
// somebody follows is none of it (W3C, Fetch Metadata Request Headers); programs
// send no such headers.
func embedded(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	if site != "cross-site" && site != "same-site" || r.Method != http.MethodGet && r.Method != http.MethodHead {
		return false
	}
	return r.Header.Get("Sec-Fetch-Mode") != "navigate" || r.Header.Get("Sec-Fetch-Dest") != "document"
}

// checked lets through what the visitor may do.
func (a *Access) checked(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, err := From(r.Context()), wrong(r.Context())
		if err == nil {
			err = a.permit(r, v)
		}
		if err != nil {
			a.refuse(w, r, err)
			return
		}
		done, many := a.crowd.turn(r, v)
		if many != nil {
			a.refuse(w, r, many)
			return
		}
		defer done()
		if v.Session != "" && longLived(r) {
			var answered func()
			r, answered = a.sessions.during(r, v.Session)
			defer answered()
		}
		next.ServeHTTP(w, r)
	})
}

// longLived reports whether a request is answered for as long as somebody looks.
// A change that was begun is finished, whoever asked for it.
func longLived(r *http.Request) bool {
	return r.Method == http.MethodGet || r.Method == http.MethodHead
}

// permit compares what the request needs with what the visitor holds.
func (a *Access) permit(r *http.Request, v Visitor) *api.Error {
	role, open := need(r)
	if v.Role.Can(role) || open && a.near(r) || role == Scrape && a.scraper(r) {
		return nil
	}
	if v.Name == "" {
		return api.Errorf(http.StatusUnauthorized, "unauthorized",
			"Run abbed access pair, and open its link. A program sends Authorization: Bearer with the token from the state directory.",
			"%s", needs(r))
	}
	return api.Errorf(http.StatusForbidden, "forbidden",
		"Ask the operator for a link with this role.",
		"This needs the roles %s. This session has %s.", listed(role), listed(v.Role))
}

func listed(r Role) string { return strings.ReplaceAll(r.String(), " ", ", ") }

// needs says what a request of nobody known lacks.
func needs(r *http.Request) string {
	if role, _ := need(r); role == Look || role == Scrape {
		return "Beyond this machine, looking needs the operator's token or a browser session too."
	}
	return "This needs the operator's token or a browser session."
}

// names are those of this daemon now: a machine may get another address.
type names struct {
	hosts       hosts
	base        string // where browsers find the page
	fingerprint string // of the certificate that abbed made; "": none
}

// Rename takes the hosts and the fingerprint of new rules, once the listener is known.
func (a *Access) Rename(rules Rules) error {
	h, err := hostsOf(a.listen, rules)
	if err != nil {
		return err
	}
	a.names.Store(&names{h, baseOf(a.listen, rules), rules.Fingerprint})
	return nil
}

// baseOf is where browsers find the page: under the first further name where
// one is given.
func baseOf(listen string, rules Rules) string {
	scheme, host := "http://", listen
	if rules.TLS {
		scheme = "https://"
	}
	if len(rules.Hosts) == 0 {
		return scheme + host
	}
	host = rules.Hosts[0]
	_, _, err := net.SplitHostPort(host)
	_, port, _ := net.SplitHostPort(listen)
	switch {
	case len(rules.Proxies) > 0:
		scheme = "https://"
	case err != nil:
		host = net.JoinHostPort(strings.Trim(host, "[]"), port)
	}
	return scheme + host
}

// Base is where browsers find the page, such as http://127.0.0.1:8077; known
// once Guard was called.
func (a *Access) Base() string {
	if n := a.names.Load(); n != nil {
		return n.base
	}
	return ""
}

// visitor finds who is behind a request. A wrong token is refused even where
// nothing would be needed, so that it cannot be tried out by reading. A cookie
// that is no session any more is as if it were not there: the browser sends it
// by itself.
func (a *Access) visitor(r *http.Request) (Visitor, *api.Error) {
	given := r.Header.Values("Authorization")
	if len(given) > 0 {
		token, ok := bearer(given)
		if ok && a.scrape != nil && a.scrape.is(hash(token)) {
			return Visitor{Name: "scraper", Role: Scrape}, nil
		}
		if ok && a.token.is(hash(token)) {
			return Visitor{Name: operator, Role: Everything}, nil
		}
		return Visitor{}, a.wrong(r, "The token is not the operator's.")
	}
	if who, ok := socketPeer(r); ok {
		return Visitor{Name: who, Role: Look | Trigger}, nil
	}
	if s, aged, ok := a.sessions.find(a.cookies(r)); ok {
		if aged && !slices.Contains(stops, r.URL.Path) {
			_ = a.sessions.save() // else it only shortens the session's life
		}
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
	if !a.limit.take(a.remote(r)) {
		return tooMany(a.limit.wait(a.remote(r)))
	}
	return api.Errorf(http.StatusUnauthorized, "unauthorized",
		"Read the file token in the state directory again, or run abbed access pair.", "%s", text)
}

func tooMany(seconds int) *api.Error {
	e := api.Errorf(http.StatusTooManyRequests, "too-many", "Wait, and try again with the right one.", "Too many wrong tries from this address.")
	e.RetryAfter = seconds
	return e
}
