package access

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"abbed/daemon/api"
)

// Options say where the secrets are kept and how the time is told.
type Options struct {
	// Dir is the state directory; it is made if it is missing.
	Dir string
	// Now is the wall clock; nil: time.Now.
	Now func() time.Time
	// Rules say what is open beyond loopback.
	Rules Rules
	// Refuse shows a refusal to a person; nil: a plain page.
	Refuse func(w http.ResponseWriter, r *http.Request, e *api.Error)
	// Enter shows the page of a one-time link; nil: a plain one.
	Enter func(w http.ResponseWriter, r *http.Request, e Entrance)
}

// Access knows the operator's token, the links and the sessions. Make one with
// Open.
type Access struct {
	now      func() time.Time
	rules    Rules
	scrape   *secret // nil: none
	listen   string  // what the listener was bound to; set by Guard
	names    atomic.Pointer[names]
	enter    func(w http.ResponseWriter, r *http.Request, e Entrance)
	shut     func(w http.ResponseWriter, r *http.Request, e *api.Error)
	file     string
	token    secret
	cookie   string // the name of its sessions' cookie
	links    *links
	sessions *sessions
	limit    *limiter
	crowd    *crowd
}

// Open reads the operator's token and the sessions from the state directory,
// and makes what is missing. The notices are sentences for the person: what had
// to be mended.
func Open(o Options) (a *Access, notices []string, err error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Enter == nil {
		o.Enter = plainEnter
	}
	if o.Refuse == nil {
		o.Refuse = plainRefusal
	}
	if err := checkDir(o.Dir); err != nil {
		return nil, nil, fmt.Errorf("access: open %s: %w", o.Dir, err)
	}
	a = &Access{
		now: o.Now, rules: o.Rules, enter: o.Enter, shut: o.Refuse, file: filepath.Join(o.Dir, tokenName),
		links: newLinks(o.Now), limit: newLimiter(o.Now), crowd: newCrowd(),
	}
	var said string
	if a.token, said, err = loadToken(a.file); err != nil {
		return nil, nil, fmt.Errorf("access: operator's token %s: %w", a.file, err)
	}
	if said != "" {
		notices = append(notices, said)
	}
	a.cookie = cookieName + hash("cookie " + a.token.hex()).hex()[:8]
	if o.Rules.ScrapeToken != "" {
		if a.scrape, err = loadScrape(o.Rules.ScrapeToken); err != nil {
			return nil, nil, fmt.Errorf("access: scraper's token: %w", err)
		}
	}
	a.sessions, said, err = loadSessions(filepath.Join(o.Dir, sessionsName), o.Now)
	if err != nil {
		return nil, nil, fmt.Errorf("access: sessions: %w", err)
	}
	if said != "" {
		notices = append(notices, said)
	}
	return a, notices, nil
}

// TokenFile returns the path of the operator's token.
func (a *Access) TokenFile() string { return a.file }

// checkDir makes the directory, or checks that nobody else can write in it.
func checkDir(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	info, err := os.Stat(dir)
	if err != nil {
		return err
	}
	if info.Mode().Perm()&0o002 != 0 {
		return errors.New("everybody may write in it, and so could replace the token; chmod o-w it, or give --state another directory")
	}
	return nil
}
