package description

import "abbed/daemon/api"

const pairing = "An empty body asks for sign. look reads; operate also moves the machine; sign also approves, applies and undoes. The last part of the link is the code that can be typed at /in. Needs every role."

func servicePaths() m {
	return m{
		"/api/v1/pair": m{"post": operation(
			api.Verb{ID: "pair", Summary: "A one-time link that lets a browser operate the printer.", About: pairing, Status: 201, Says: "The link; it is good once, and not for long."},
			closed(object(m{"role": oneOf("", "", "look", "operate", "sign")})),
			all(m{"url": text(""), "expires": moment(""), "role": text("what the session may do: look, operate, sign"), "fingerprint": text("SHA-256 of the certificate that abbed made, of which a browser warns; empty: none")}),
		)},
		"/api/v1/sessions": m{"get": operation(
			api.Verb{ID: "sessions", Summary: "The browsers that are signed in.", About: "Needs every role.", Status: 200, Says: "The sessions."}, nil,
			list(all(m{
				"id": text("opens nothing"), "role": text("look, operate, sign"), "from": text("the browser's own name"), "made": moment(""), "seen": moment("to a day"),
			}), ""),
		)},
		"/api/v1/sessions/{id}": inPath("id", "of a session", m{"delete": ended()}),
		"/in": m{
			"get": free("enter", "The screen on which a code is typed.", m{"200": html("A form.")}),
			"post": m{
				"operationId": "signIn", "summary": "Use a code up; the browser gets its session as a cookie.", "security": l{},
				"requestBody": m{"required": true, "content": m{"application/x-www-form-urlencoded": m{"schema": all(m{"code": text("of the link")})}}},
				"responses":   m{"303": m{"description": "To the overview, with the cookie."}, "401": html("Wrong, used or too old."), "429": html("Too many wrong tries.")},
			},
		},
		"/in/abbed.crt": m{"get": free("authority", "The authority that signed the certificate of this page, for a phone to trust; 404 where abbed did not make it.",
			m{"200": as("A certificate (PEM).", "application/x-x509-ca-cert", text("")), "404": html("None.")})},
		"/in/{code}": inPath("code", "of the link", m{"get": free("enterByLink", "The screen of a one-time link; only its button uses the link up.", m{"200": html("A form.")})}),
		"/out": m{"post": m{
			"operationId": "signOut", "summary": "End the session of the browser that asks.",
			"responses": m{"303": m{"description": "To the overview, without the cookie."}},
		}},
		"/api/openapi.json": m{"get": free("description", "This document.", m{"200": answer("OpenAPI 3.1.", open(m{"type": "object"}))})},
		"/metrics":          m{"get": free("metrics", "Metrics in the text format of Prometheus.", m{"200": as("Text.", "text/plain", text(""))})},
		"/healthz":          m{"get": free("health", "Whether the program lives; asks no one else.", m{"200": as("It lives.", "text/plain", m{"const": "ok\n"})})},
	}
}

// ended ends a session; nothing comes back.
func ended() m {
	op := operation(api.Verb{ID: "endSession", Summary: "End a session at once.", About: "Needs every role.", Refusals: []int{404}, Status: 204}, nil, nil)
	op["responses"].(m)["204"] = m{"description": "It is out."}
	return op
}

// free is an operation that needs no token.
func free(id, summary string, responses m) m {
	return m{"operationId": id, "summary": summary, "security": l{}, "responses": responses}
}

// html is an answer for a browser.
func html(what string) m { return as(what, "text/html", text("")) }

// inPath is a path with the parameter in it, and its methods.
func inPath(name, what string, methods m) m {
	return with(methods, "parameters", l{m{"name": name, "in": "path", "required": true, "description": what, "schema": text("")}})
}
