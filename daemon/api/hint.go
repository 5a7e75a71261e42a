package api

import "strings"

// Reader is who reads a refusal. The fact is the same for all; what to do is not.
type Reader int

// Readers. A program reads the hint that the refusal carries.
const (
	Terminal Reader = iota
	Page
)

// HintAt is what to do about a refusal for who reads it there: by its code, else what the
// refusal itself says.
func HintAt(where Reader, e *Error) string {
	hint := hints[e.Code][where]
	if hint == "" || e.Code == "not-found" && !strings.HasPrefix(e.Text, "no run") {
		return e.Hint
	}
	return hint
}

// hints are by code what to do at a terminal and on the page.
var hints = map[string][2]string{
	"unopened":          {Terminal: "Open the page, and let it open the port there, while nothing prints.", Page: "Open the port on the overview, while nothing prints."},
	"run-active":        {Terminal: "Wait for its end, or stop it: abbed stop."},
	"expired":           {Terminal: "Measure again: abbed measure."},
	"not-applied":       {Terminal: "Review and approve a correction on the page first."},
	"no-gauging":        {Terminal: "Take readings: abbed measure gauging."},
	"unknown-step":      {Terminal: "Name some of: repeat, gauging, survey, plate-turn, coupons, angles, reference."},
	"cautions-missing":  {Terminal: "Read each caution, and name it with --caution ID."},
	"not-ready":         {Terminal: "Wait for the end of the run: abbed status.", Page: "Wait for the end of the run."},
	"map-area-unknown":  {Terminal: "Set map_area in the settings file, then abbed measure again.", Page: "Set map_area in the settings file, then measure again."},
	"wrong-host":        {Terminal: "Use --printer NAME, or the address that abbed serve printed."},
	"unauthorized":      {Terminal: "Use sudo, or name the operator's token with --token-file."},
	"forbidden":         {Terminal: "Use sudo, or name the operator's token with --token-file."},
	"printer-changed":   {Terminal: "Connect its own printer, or abbed correction undo."},
	"map-changed":       {Terminal: "Let the printer measure its bed map again, then abbed measure."},
	"journal-damaged":   {Terminal: "Let the printer measure its bed map again, then abbed measure."},
	"no-proof-print":    {Terminal: "Change the setting that it names: --set, or the settings file.", Page: "Change the setting that it names, in the settings file."},
	"table-refused":     {Terminal: "abbed runs report says what to do."},
	"not-comparable":    {Terminal: "Name two runs of the same printer: abbed runs."},
	"too-many":          {Terminal: "Wait a minute."},
	"connecting":        {Terminal: "Wait, and look at abbed status."},
	"applied-busy":      {Terminal: "Wait for its end: abbed status."},
	"owed":              {Terminal: "Stand at the printer. Put it back on the page, or by the command of abbed status."},
	"finding-repair":    {Terminal: "abbed workshop repair"},
	"store-damaged":     {Terminal: "Keep a copy: abbed data export FILE. Then look at the log."},
	"printer-halted":    {Terminal: "Look at the printer, and reset it at its own switch."},
	"printer-restarted": {Terminal: "Look at the printer, then abbed measure again."},
	"not-found":         {Terminal: "abbed runs lists them.", Page: "Choose one of the list of runs."},
	"other-steps":       {Page: "Choose the gauging, or steadiness and gauging."},
}
