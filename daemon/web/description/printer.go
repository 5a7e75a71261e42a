package description

import "abbed/daemon/api"

func printerPaths() m {
	return m{
		"/api/v1/printer": path("", "", m{"get": verb{
			id: "printer", summary: "What is known of the printer, and which steps can be done.", free: true,
			status: 200, says: "The printer.", shape: shape[api.Printer](),
		}.operation()}),
		"/api/v1/check": path("", "", m{"get": verb{
			id: "check", summary: "When the next check is due.", about: "The calendar asks for a check when it is due (settings check.every and those beside it).", free: true,
			status: 200, says: "The calendar.", shape: shape[api.Check](),
		}.operation()}),
		"/api/v1/room": path("", "", m{"get": verb{
			id: "room", summary: "The printers that are known to this machine.", about: "Those whose daemons have the same directory in the setting room.", free: true,
			status: 200, says: "By their names.", shape: shape[[]api.Neighbour](),
		}.operation()}),
		"/api/v1/printer/open": path("", "", m{"post": verb{
			id: "openPort", summary: "Give a person's word that the port may be opened.",
			about: "Opening the port of a real device may reset the board, and kill a print that runs from the printer's own storage.",
			body:  request[api.Open](), refusals: []int{409, 503},
			status: 202, says: "The port is being opened.", shape: shape[api.Printer](),
		}.operation()}),
	}
}
