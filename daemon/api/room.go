package api

import "time"

// Neighbour is a printer that is known to this machine: a daemon with its own
// page.
type Neighbour struct {
	Name    string       `json:"name"`
	URL     string       `json:"url" about:"of its page; empty if not known"`
	Port    string       `json:"port"`
	Link    Link         `json:"link" about:"as of Printer"`
	Run     State        `json:"run" about:"state of the latest run, or empty"`
	Applied AppliedState `json:"applied" about:"as of Applied"`
	Proved  bool         `json:"proved" about:"verified at the nozzle with the correction in force"`
	Expired string       `json:"expired" about:"why the correction no longer holds, in a word; empty: it does"`
	Todo    []Todo       `json:"todo" about:"what a person should do there, the gravest first"`
	At      time.Time    `json:"at" about:"when it last said so"`
	Ended   bool         `json:"ended" about:"it was switched off then"`
	Silent  bool         `json:"silent" about:"it should have said something since"`
}
