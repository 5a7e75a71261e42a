package api

// StopAnswer is the answer to a stop.
type StopAnswer struct {
	Requested bool   `json:"requested" about:"whether a stop request went out to the printer"`
	Text      string `json:"text" about:"what became of it"`
}

// Warnings stand beside the cautions of every run: nothing to tick, and all to know.
var Warnings = []string{
	"Nozzle and bed may be hot: they burn the skin.",
	"The printer maker's instructions and local rules come first. Mains wiring, heaters and frames under load are for qualified people.",
}

// StopSentence stands beside every stop button: what goes out over the wire is
// a request, and a motor that lost its current does not hold Z. (Stop
// categories: IEC 60204-1, NFPA 79 9.2.2, read second-hand: an emergency stop
// must not depend on software or on a communication link.)
const StopSentence = "This is no emergency stop: it can fail, and it may let Z sink. In danger use the power switch."
