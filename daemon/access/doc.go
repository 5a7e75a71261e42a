// Package access decides who may do what over HTTP, and stands before every
// other handler.
//
// The nouns, in the order in which a request passes: the header of every answer
// (a strict content policy); hosts, the names that this daemon answers to
// (against DNS rebinding); the origin check (against other sites' forms and
// scripts); the Visitor, found by the operator's token or by a browser's
// session, with its Role; and what the request needs. A browser gets its
// session from a one-time link. Signer makes and redeems the tokens of a
// sign-off.
//
// # What is open
//
// On loopback, under a loopback name, reading needs nothing, POST .../gap is
// reading, and a stop (POST /api/v1/stop, and the page's form) needs no token:
// it must not fail for want of one. All three still refuse another Host and
// another origin. Every other change needs the operator's token or a session
// with the role for it.
//
// Beyond loopback CheckListen refuses to listen unless Rules open it; then
// everything needs the token or a session but the way in (/in) and our own
// static files. Metrics and health may be opened to a scraper. A request that
// came through a proxy (Forwarded, X-Forwarded-..., Via) has nothing open,
// wherever it seems to come from; what it says of itself counts only from the
// proxies of the Rules.
//
// The Unix socket (ListenSocket, Mark) is for a button: the permissions of its
// file are the access, and its role is Look and Trigger.
//
// # Secrets
//
// The token is 32 random bytes in STATE/token, mode 0600. Sessions are as long;
// the code of a link has 60 bits, which a person can type. Of both only the
// SHA-256 is kept, of links in memory only. Nothing secret is in a message, a log or an error.
// Cookies do not know of ports: another program on this machine that a browser
// is sent to by the same name sees the session's cookie. Whoever fears that
// uses the token. So that several printers of one machine can let the same browser
// in, each names its cookie by its own token.
//
// # Rates
//
// Wrong tokens, sessions and links are counted by address; beyond ten, one each
// three seconds, the answer is 429. A right token is taken nevertheless: with
// 256 bits there is nothing to guess, and nobody on this machine should be able
// to lock the operator out by being wrong. Codes of a link are not looked at
// while the limit holds.
//
// # Concurrency
//
// All methods may be called from anywhere.
//
// # Errors
//
// Answers are api.Refusal with the codes of package api. Open, CheckListen and
// Redeem say what was wrong and what to do; ErrToken is to be branched on.
package access
