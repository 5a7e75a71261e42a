package api

import "time"

// Neighbour is a printer that is known to this machine: a daemon with its own
// page.
type Neighbour struct {
	Name string `json:"name"`
	// URL is where its page is, "" if that cannot be told.
	URL  string `json:"url"`
	Port string `json:"port"`
	Link Link   `json:"link"`
	// Run is the state of its latest run, "" if there was none.
	Run     State        `json:"run"`
	Applied AppliedState `json:"applied"`
	// Expired is why the correction no longer holds, in a word; "": it does.
	Expired string `json:"expired"`
	// Todo is what a person should do there, the gravest first.
	Todo []Todo `json:"todo"`
	// At is when it last said so; Ended that it was switched off then. Silent
	// says that it should have said something since.
	At     time.Time `json:"at"`
	Ended  bool      `json:"ended"`
	Silent bool      `json:"silent"`
}
