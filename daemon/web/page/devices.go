package page

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"abbed/config/outside"
	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
)

// Doors are what lets browsers in; an access.Access is one. Nil: the screen of
// devices is not there.
type Doors interface {
	Sessions() []access.Session
	Revoke(id string) (bool, error)
	Link(base string, role access.Role) (url string, expires time.Time)
	Base() string
}

// devicesView lists the browsers that are let in, and the link that was just
// made for another.
type devicesView struct {
	Devices []device
	New     *newDevice
}

// device is a browser that was let in.
type device struct {
	access.Session
	May  string
	This bool
}

// newDevice is a link that lets one browser in.
type newDevice struct {
	URL, Code, Page, May string
	Until                time.Time
	// Alone: no other device can reach this daemon.
	Alone   bool
	Picture svg
}

// may says what a role is for.
func may(r access.Role) string {
	switch {
	case r.Can(access.Everything):
		return "may measure, approve, apply and undo"
	case r.Can(access.Operate):
		return "may measure"
	case r.Can(access.Look):
		return "may look"
	}
	return "may " + r.String()
}

// master refuses whoever may not do everything.
func (p *page) master(w http.ResponseWriter, r *http.Request) bool {
	v := access.From(r.Context())
	if v.Role.Can(access.Everything) {
		return true
	}
	status, code := http.StatusForbidden, "forbidden"
	if v.Name == "" {
		status, code = http.StatusUnauthorized, "unauthorized"
	}
	p.refused(w, r, api.Errorf(status, code, "use a browser that may approve, or abbed access list beside the printer", "the devices are shown to whoever may do everything"))
	return false
}

// devices lists the browsers that are let in, and the link that was just made.
func (p *page) devices(r *http.Request, made *newDevice) *devicesView {
	v := &devicesView{New: made}
	own := access.From(r.Context()).Session
	for _, x := range p.opts.Doors.Sessions() {
		v.Devices = append(v.Devices, device{x, may(x.Role), own != "" && x.ID == own})
	}
	return v
}

// doDevice puts a browser out.
func (p *page) doDevice(w http.ResponseWriter, r *http.Request) {
	if !p.master(w, r) {
		return
	}
	switch ok, err := p.opts.Doors.Revoke(r.PostFormValue("id")); {
	case err != nil:
		p.showPrinter(w, r, api.Errorf(http.StatusInternalServerError, "internal", "make the state directory writable, and sign the device out again", "the device is signed out, but may return after a restart"), nil)
	case !ok:
		p.showPrinter(w, r, api.Errorf(http.StatusNotFound, "not-found", "look at the list again", "this device is not signed in"), nil)
	default:
		leads(w, r, "/printer")
	}
}

// doPair makes a link for another device. It stands in this one answer only,
// and is never compressed.
func (p *page) doPair(w http.ResponseWriter, r *http.Request) {
	if !p.master(w, r) {
		return
	}
	role, ok := access.Grant(r.PostFormValue("role"))
	if !ok {
		p.showPrinter(w, r, api.Errorf(http.StatusUnprocessableEntity, "bad-value", "choose what it may do", "there is no role %q", r.PostFormValue("role")), nil)
		return
	}
	n := &newDevice{May: may(role), Alone: alone(p.opts.Doors.Base())}
	n.URL, n.Until = p.opts.Doors.Link(p.opts.Doors.Base(), role)
	at := strings.LastIndexByte(n.URL, '/')
	n.Page, n.Code = n.URL[:at], n.URL[at+1:]
	drawn, err := picture.Code(n.URL, fmt.Sprintf("The link as a picture for a camera. Typed, the code is %s.", n.Code))
	if err != nil {
		p.opts.Log.Warn("page: draw a link", "cause", err) // it can be typed
	}
	n.Picture = drawn
	p.showPrinter(w, r, nil, n)
}

// alone reports whether a page is for this machine only.
func alone(base string) bool {
	u, err := url.Parse(base)
	return err == nil && outside.Loopback(u.Hostname())
}
