package access

import (
	"fmt"
	"sync"
	"time"
)

const (
	// linkLife is how long a one-time link is good.
	linkLife = 15 * time.Minute
	// mostLinks bounds the open ones; the oldest goes first.
	mostLinks = 16
)

// links are the one-time links that nobody used yet. They are in memory only:
// a restart makes them void.
type links struct {
	now func() time.Time

	mu   sync.Mutex
	open []link
}

type link struct {
	code    secret
	role    Role
	expires time.Time
}

func newLinks(now func() time.Time) *links { return &links{now: now} }

// Link makes a one-time link for a browser. base is where the page is, such as
// http://127.0.0.1:8077; the session will have role.
func (a *Access) Link(base string, role Role) (url string, expires time.Time) {
	code, expires := a.links.add(role)
	return fmt.Sprintf("%s/in/%s", base, code), expires
}

func (l *links) add(role Role) (string, time.Time) {
	code, h := newSecret()
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.open) >= mostLinks {
		l.open = l.open[1:]
	}
	x := link{code: h, role: role, expires: l.now().Add(linkLife)}
	l.open = append(l.open, x)
	return code, x.expires
}

// use uses a link up; false if it is none, was used or is too old.
func (l *links) use(code string) (Role, bool) {
	h := hash(code)
	l.mu.Lock()
	defer l.mu.Unlock()
	found := -1
	for i, x := range l.open {
		if x.code.is(h) {
			found = i
		}
	}
	if found < 0 {
		return Nobody, false
	}
	x := l.open[found]
	l.open = append(l.open[:found:found], l.open[found+1:]...)
	return x.role, l.now().Before(x.expires)
}
