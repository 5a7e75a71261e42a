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
			"get": m{"operationId": "enter", "summary": "The screen on which a code is typed.", "security": l{}, "responses": m{"200": html("A form.")}},
			"post": m{
				"operationId": "signIn", "summary": "Use a code up; the browser gets its session as a cookie.", "security": l{},
				"requestBody": m{"required": true, "content": m{"application/x-www-form-urlencoded": m{"schema": all(m{"code": text("of the link")})}}},
				"responses":   m{"303": m{"description": "To the overview, with the cookie."}, "401": html("Wrong, used or too old."), "429": html("Too many wrong tries.")},
			},
		},
		"/in/abbed.crt": m{"get": m{
			"operationId": "authority", "summary": "The authority that signed the certificate of this page, for a phone to trust; 404 where abbed did not make it.", "security": l{},
			"responses": m{"200": m{"description": "A certificate (PEM).", "content": m{"application/x-x509-ca-cert": m{"schema": m{"type": "string"}}}}, "404": html("None.")},
		}},
		"/in/{code}": inPath("code", "of the link", m{"get": m{
			"operationId": "enterByLink", "summary": "The screen of a one-time link; only its button uses the link up.", "security": l{},
			"responses": m{"200": html("A form.")},
		}}),
		"/out": m{"post": m{
			"operationId": "signOut", "summary": "End the session of the browser that asks.",
			"responses": m{"303": m{"description": "To the overview, without the cookie."}},
		}},
		"/api/openapi.json": m{"get": m{
			"operationId": "description", "summary": "This document.", "security": l{},
			"responses": m{"200": answer("OpenAPI 3.1.", m{"type": "object", "additionalProperties": true})},
		}},
		"/metrics": m{"get": m{
			"operationId": "metrics", "summary": "Metrics in the text format of Prometheus.", "security": l{},
			"responses": m{"200": m{"description": "Text.", "content": m{"text/plain": m{"schema": m{"type": "string"}}}}},
		}},
		"/healthz": m{"get": m{
			"operationId": "health", "summary": "Whether the program lives; asks no one else.", "security": l{},
			"responses": m{"200": m{"description": "It lives.", "content": m{"text/plain": m{"schema": m{"const": "ok\n"}}}}},
		}},
	}
}

// ended ends a session; nothing comes back.
func ended() m {
	op := operation(api.Verb{ID: "endSession", Summary: "End a session at once.", About: "Needs every role.", Refusals: []int{404}, Status: 204}, nil, nil)
	op["responses"].(m)["204"] = m{"description": "It is out."}
	return op
}

// html is an answer for a browser.
func html(what string) m {
	return m{"description": what, "content": m{"text/html": m{"schema": m{"type": "string"}}}}
}

// inPath is a path with the parameter in it, and its methods.
func inPath(name, what string, methods m) m {
	return with(methods, "parameters", l{m{"name": name, "in": "path", "required": true, "description": what, "schema": text("")}})
}
