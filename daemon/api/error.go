package api

import (
	"fmt"

	"abbed/probe/record"
)

// Error is a refusal: the act and the cause in Text, the remedy in Hint.
type Error = record.Problem

// Refusal is the body of an error answer.
type Refusal struct {
	Error *Error `json:"error"`
}

// Errorf makes an Error; text takes the arguments, hint is plain.
func Errorf(status int, code, hint, text string, args ...any) *Error {
	return &Error{Status: status, Code: code, Text: fmt.Sprintf(text, args...), Hint: hint}
}

// Codes are the codes of refusals with what each means; the served description
// lists them.
var Codes = map[string]string{
	"unauthorized":      "a change needs the operator's token or a paired browser session",
	"forbidden":         "this role or this origin may not do that",
	"wrong-host":        "the Host of the request is not one that this daemon answers to",
	"not-found":         "no such path, run or table",
	"not-allowed":       "the path does not take this method",
	"bad-json":          "the body is not the JSON that the description shows",
	"bad-value":         "a value in the body is missing or outside its range",
	"too-large-body":    "the body is larger than the description allows",
	"connecting":        "the printer is not there yet; try again after Retry-After",
	"unopened":          "a real device waits for the person's word before it is first opened",
	"taken":             "another program holds the port",
	"lost":              "the link to the printer is lost",
	"run-active":        "a run is active; one at a time",
	"not-ready":         "what this needs is not there yet",
	"cannot":            "a step cannot be done; the printer's steps say why",
	"unknown-step":      "no such step",
	"step-alone":        "a step tells nothing without another in the same run",
	"other-steps":       "a run for an earlier one gauges, or repeats and gauges, and nothing else",
	"not-first":         "the run that more is to be gauged for was itself made for an earlier one",
	"nothing-known":     "a run that tells nothing of its nozzle error cannot take more readings",
	"wrong-state":       "the run is not in a state for this",
	"cautions-missing":  "not every caution was confirmed; missing names them",
	"bad-blade":         "the gauge's thickness is outside 0.02..0.30 mm",
	"digs-in":           "the nozzle would come too near the bed while these patches are printed",
	"no-proof-print":    "the settings do not make a proof print; the text names what to change",
	"other-plan":        "the patches are numbered by another plan than that of the settings",
	"past-floor":        "this would lower the nozzle below the floor",
	"nothing-to-forget": "no reading at this point",
	"too-hot":           "more heat is asked for than the settings allow",
	"does-not-heat":     "what should heat up does not become warmer",
	"heats-slowly":      "heating up takes longer than the settings allow",
	"heat-lost":         "what a run heats has cooled",
	"no-temperature":    "the printer does not tell its temperatures, so that it cannot be heated",
	"still-hot":         "the heaters did not go off",
	"too-high":          "this would raise the nozzle above where travel begins",
	"unknown-prompt":    "the run does not ask this",
	"token-bad":         "the approval token is wrong, used, expired or for another table",
	"table-refused":     "no table is offered; refused says why",
	"not-comparable":    "runs of two printers, which cannot be compared",
	"applied-busy":      "an apply, undo or its verification is going on",
	"owed":              "something that a run switched off is not put back yet",
	"foreign-use":       "the printer is in use by someone else: a print, heat or motion",
	"map-changed":       "the bed map is not the one that the table was made for",
	"map-mixed":         "some nodes of the bed map have the correction in them and others have not, or it cannot be told",
	"journal-damaged":   "what is stored about the correction is not what its digest says; nothing is written from it",
	"expired":           "the correction no longer holds; applied.expired says why",
	"not-needed":        "everything is within the tolerance, or the correction is in force already: nothing to do",
	"not-proved":        "the nozzle was not where the correction should have put it",
	"not-applied":       "no table is applied",
	"unhomed":           "the machine is not homed",
	"stopped":           "a stop was requested",
	"zero-needed":       "the zero point cannot be skipped: everything is measured against it",
	"no-room":           "too little room is predicted under the nozzle at a touch",
	"no-touch":          "the printer reported no contact",
	"no-position":       "the printer did not say where the head is",
	"not-there":         "the head is not where it was sent",
	"not-a-bed":         "a touch at a height that cannot be the bed",
	"other-place":       "the printer reported a touch of another place",
	"out-of-travel":     "outside the nozzle's travel",
	"off-bed":           "not on the bed",
	"store":             "the store cannot be written or read",
	"store-damaged":     "something in the store is not what was written",
	"given-up":          "the question was given up before it was answered",
	"interrupted":       "the program ended in the middle of the run",
	"printer-halted":    "the printer halted",
	"printer-restarted": "the printer restarted",
	"printer-silent":    "the printer did not answer in time",
	"reply-lost":        "an answer was lost on the line",
	"garbled":           "only unreadable bytes came from the printer",
	"answer-endless":    "the printer answered a command with more than any answer has",
	"map-unreadable":    "the printer's bed map cannot be read",
	"keep-refused":      "the printer refuses to keep the map",
	"keep-unsure":       "the printer answers otherwise each time it is asked to keep the map",
	"node-refused":      "the printer refuses a node of the map",
	"read-back":         "what was read back is not what was written",
	"printer-changed":   "another printer, or another lever, than the run or the table was made for",
	"before-failed":     "the owner's command before the opening of the port failed: the port was not opened",
	"failed":            "the printer or the link failed while this was done",
	"busy":              "the run is doing something; wait for its state",
	"too-many":          "too many requests; wait",
	"internal":          "a fault of this program; its log says more",
	// Why a table is refused (Table.refused).
	"map-stale":                    "the bed map is not the one that the survey explains",
	"map-area-unknown":             "where the bed map has its nodes is not known",
	"no-gauging":                   "no place was gauged",
	"no-survey":                    "no survey was made, so that the bed map could not be checked",
	"node-too-far":                 "a node lies too far outside the gauged area",
	"too-large":                    "a correction beyond the largest that is offered",
	"too-steep":                    "a slope between neighbouring nodes beyond the limit",
	"too-uncertain":                "the doubt is too large against the correction",
	"finding-probe-not-repeatable": "the finding probe-not-repeatable forbids a table",
	"finding-drift":                "the finding drift forbids a table",
	"finding-loose-carriage":       "the finding loose-carriage forbids a table",
	"finding-worn-wheels":          "the finding worn-wheels forbids a table",
	"finding-repair":               "the finding repair forbids a table",
	"finding-undetermined":         "the finding undetermined forbids a table",
}
