package page

import (
	"net/http"

	"abbed/daemon/api"
)

// room is the screen of the printers that are known to this machine.
func (p *page) room(w http.ResponseWriter, r *http.Request) {
	s := p.begin(r, "The printers of this machine")
	all, err := p.desk.Room()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s.Poll = 10
	s.View = all
	p.show(w, r, "room", s)
}

// linkWords say the state of a link in a word or two.
var linkWords = map[api.Link]string{
	api.Unopened: "port not opened yet", api.Connecting: "connecting", api.Ready: "ready", api.Resting: "ready, port given back",
	api.Taken: "port taken by another program", api.Lost: "link lost",
}

// appliedWords do so for the correction.
var appliedWords = map[api.AppliedState]string{
	api.NoneApplied: "none", api.Writing: "being written", api.Verifying: "being checked", api.Kept: "in force", api.PutBack: "put back",
	api.Undone: "undone", api.ApplyFailed: "map in doubt", api.Unfinished: "half written",
}
