package access

import "net"

// Answering marks the place of a connection as a server does.
func Answering(c net.Conn, busy bool) { c.(*place).answering(busy) }

// Places is how many a door has taken.
func Places(d *Door) int { return len(d.all) + len(d.from) }

// CookieOf returns the cookie of a browser that was let in.
func CookieOf(a *Access) string {
	text, _, err := a.sessions.add(Everything, "a browser")
	if err != nil {
		panic(err)
	}
	return a.cookie + "=" + text
}

// HoldDisk makes the disk not answer until release.
func HoldDisk(a *Access) (release func()) {
	a.sessions.disk.Lock()
	return a.sessions.disk.Unlock
}
