package access

import (
	"crypto/rand"
	"fmt"
	"strings"
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

// newCode returns a code that a person can type on a phone: 12 of 32 letters
// and digits (RFC 4648 6 without padding), 60 bits. Within 15 minutes an
// address has about 310 tries: a thousand of them together find one of 16 open
// codes with a chance of 4e-12.
func newCode() (text string, s secret) {
	text = rand.Text()[:12] // crypto/rand, 5 bits a letter
	return text[:4] + "-" + text[4:8] + "-" + text[8:], hash(text)
}

// plainCode is a code as it was meant: people type small letters and blanks,
// and take 0 for O, 1 for I, 8 for B.
func plainCode(typed string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c == '-' || c == ' ':
			return -1
		case c == '0':
			return 'O'
		case c == '1':
			return 'I'
		case c == '8':
			return 'B'
		case c >= 'a' && c <= 'z':
			return c - 'a' + 'A'
		}
		return c
	}, typed)
}

func (l *links) add(role Role) (string, time.Time) {
	code, h := newCode()
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
	h := hash(plainCode(code))
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
