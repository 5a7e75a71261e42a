package access

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"slices"
	"sync"
	"time"

	"abbed/config/outside"
)

const (
	sessionsName = "sessions.json"
	// cookieName begins the name of a session's cookie, which ends with the printer's own
	// letters: cookies do not know of ports, and a browser is let in by several printers.
	cookieName = "abbed_session_"
	// sessionLife is how long a session lives after it was last used.
	sessionLife = 90 * 24 * time.Hour
	// seenEvery is how often the use of a session is written down.
	seenEvery = 24 * time.Hour
	// mostSessions bounds them; the one longest unused goes first. mostList bounds
	// their file, bytes: each takes some 400.
	mostSessions = 64
	mostList     = 256 << 10
)

// Session is a browser that came in by a link.
type Session struct {
	// ID names it to people; it opens nothing.
	ID   string    `json:"id"`
	Role Role      `json:"role"`
	From string    `json:"from"` // the browser's own name for itself
	Made time.Time `json:"made"`
	Seen time.Time `json:"seen"`

	Hash string `json:"hash,omitempty"`
}

// sessions are the browsers that may do something, kept by hash.
type sessions struct {
	file string
	now  func() time.Time

	disk sync.Mutex // held while the file is written; taken before mu, which is not
	mu   sync.Mutex
	all  []Session
	open map[string]map[*visit]bool // what is being answered, by the session's ID
}

// visit is a request of a session that is being answered.
type visit struct{ end context.CancelFunc }

// during returns a request whose context ends with the session: an event stream
// is open for hours. The second result must be called when it was answered.
func (s *sessions) during(r *http.Request, id string) (*http.Request, func()) {
	ctx, cancel := context.WithCancel(r.Context())
	v := &visit{cancel}
	s.mu.Lock()
	defer s.mu.Unlock()
	if !slices.ContainsFunc(s.all, func(x Session) bool { return x.ID == id }) {
		cancel() // it was ended meanwhile
	}
	if s.open == nil {
		s.open = map[string]map[*visit]bool{}
	}
	if s.open[id] == nil {
		s.open[id] = map[*visit]bool{}
	}
	s.open[id][v] = true
	return r.WithContext(ctx), func() {
		cancel()
		s.mu.Lock()
		defer s.mu.Unlock()
		if delete(s.open[id], v); len(s.open[id]) == 0 {
			delete(s.open, id)
		}
	}
}

// close ends what the sessions that are gone have open; the caller holds mu.
func (s *sessions) close() {
	for id, visits := range s.open {
		if slices.ContainsFunc(s.all, func(x Session) bool { return x.ID == id }) {
			continue
		}
		for v := range visits {
			v.end()
		}
	}
}

// loadSessions reads the sessions. A file that is damaged is put aside: then
// each browser needs a new link, and nobody is let in by mistake.
func loadSessions(file string, now func() time.Time) (*sessions, string, error) {
	s := &sessions{file: file, now: now}
	b, err := outside.Read(file, mostList)
	if errors.Is(err, fs.ErrNotExist) {
		return s, "", nil
	}
	if err == nil {
		err = json.Unmarshal(b, &s.all)
	} else if !errors.Is(err, outside.ErrNoFile) && !errors.Is(err, outside.ErrLarge) {
		return nil, "", err
	}
	if err != nil {
		s.all = nil
		aside := file + ".damaged"
		return s, fmt.Sprintf("The list of browser sessions is damaged and moved to %s. Each browser needs a new link (abbed access pair).", aside), os.Rename(file, aside)
	}
	return s, "", nil
}

// cookies returns the values of the session cookies of a request.
func (a *Access) cookies(r *http.Request) []string {
	var out []string
	for _, c := range r.CookiesNamed(a.cookie) {
		if len(c.Value) <= mostToken {
			out = append(out, c.Value)
		}
	}
	return out
}

// find returns the session of one of the texts. aged says that its use is to be
// written down (save).
func (s *sessions) find(texts []string) (found Session, aged, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, t := range texts[:min(len(texts), 4)] {
		if i := s.index(hash(t)); i >= 0 {
			if aged = s.now().Sub(s.all[i].Seen) >= seenEvery; aged {
				s.all[i].Seen = s.now().UTC()
			}
			return s.all[i], aged, true
		}
	}
	return Session{}, false, false
}

// index returns where the live session of a hash is, or -1; it looks at all.
func (s *sessions) index(h secret) int {
	found := -1
	for i, x := range s.all {
		var have secret
		n, err := hex.Decode(have[:], []byte(x.Hash))
		if err == nil && n == len(have) && have.is(h) && s.now().Sub(x.Seen) < sessionLife {
			found = i
		}
	}
	return found
}

// add makes a session and returns the text of its cookie.
func (s *sessions) add(role Role, from string) (string, Session, error) {
	text, h := newSecret()
	_, id := newSecret()
	at := s.now().UTC()
	x := Session{ID: id.hex()[:8], Role: role, From: from, Made: at, Seen: at, Hash: h.hex()}
	s.mu.Lock()
	s.all = slices.DeleteFunc(s.all, func(x Session) bool { return at.Sub(x.Seen) >= sessionLife })
	if len(s.all) >= mostSessions {
		slices.SortFunc(s.all, func(a, b Session) int { return b.Seen.Compare(a.Seen) })
		s.all = s.all[:mostSessions-1]
	}
	s.all = append(s.all, x)
	s.mu.Unlock()
	err := s.save()
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		s.all = slices.DeleteFunc(s.all, func(o Session) bool { return o.ID == x.ID })
		return "", Session{}, err
	}
	s.close()
	return text, x, nil
}

// revoke ends a session; false if there is none of that ID.
func (s *sessions) revoke(id string) (bool, error) {
	s.mu.Lock()
	n := len(s.all)
	s.all = slices.DeleteFunc(s.all, func(x Session) bool { return x.ID == id })
	gone := len(s.all) < n
	s.close()
	s.mu.Unlock()
	if !gone {
		return false, nil
	}
	return true, s.save()
}

// save writes all sessions. Nobody else waits for the disk meanwhile: a stop request
// of a browser looks for its session.
func (s *sessions) save() error {
	s.disk.Lock()
	defer s.disk.Unlock()
	s.mu.Lock()
	b, err := json.MarshalIndent(s.all, "", "\t")
	s.mu.Unlock()
	if err != nil {
		return err
	}
	return writeFile(s.file, append(b, '\n'))
}

// Sessions lists the browsers that are let in, without their hashes.
func (a *Access) Sessions() []Session {
	a.sessions.mu.Lock()
	defer a.sessions.mu.Unlock()
	out := append([]Session{}, a.sessions.all...)
	for i := range out {
		out[i].Hash = ""
	}
	return out
}

// Revoke ends a session at once, with whatever it has open; false if there is none of that ID. With an
// error the session is out, but may be back after a restart.
func (a *Access) Revoke(id string) (bool, error) {
	ok, err := a.sessions.revoke(id)
	if err != nil {
		err = fmt.Errorf("access: revoke session %s: %w", id, err)
	}
	return ok, err
}
