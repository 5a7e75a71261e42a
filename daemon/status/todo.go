package status

import (
	"slices"
	"strings"
	"time"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// What a person may have to do at a printer, by name.
const (
	TodoHalfWritten  = "half-written"
	TodoInDoubt      = "map-in-doubt"
	TodoOwed         = "owed"
	TodoNotVerified  = "not-verified"
	TodoOther        = "other-printer"
	TodoTwist        = "expired-twist"
	TodoLever        = "expired-lever"
	TodoMap          = "expired-map"
	TodoRepair       = "repair"
	TodoUnsteady     = "unsteady"
	TodoDisk         = "disk"
	TodoLinkLost     = "link-lost"
	TodoUnopened     = "unopened"
	TodoConfirmation = "run-waits"
	TodoQuestion     = "run-asks"
	TodoCheck        = "check-due"
)

// diskRoom is how many bytes the disk should have left, as in the alert AbbedDiskFilling (common
// practice, no source).
const diskRoom = 200 << 20

// matter is a state in which a person should do something: its one sentence and its one
// act, which page, terminal, log, metrics and runbook all take from here.
type matter struct {
	api.Todo
	holds func(Snapshot) bool
	// more fills in what depends on the snapshot; nil: nothing does.
	more func(Snapshot, *api.Todo)
}

// matters are in the order of their gravity.
var matters = []matter{
	{api.Todo{ID: TodoOther, Act: "Undo the correction, which closes it: nothing is written to the printer.", Says: "Another printer is at the port than the one that the correction was made for.", Commands: []string{"abbed correction undo"}},
		func(s Snapshot) bool { return s.Expiry == ExpiredPrinter }, nil},
	{api.Todo{ID: TodoHalfWritten, Act: "Undo the correction, or finish it. Do not print before.", Says: "The bed map may be half written.", Commands: []string{"abbed correction undo", "abbed correction reapply"}, Grave: true},
		func(s Snapshot) bool { return s.Applied.State == api.Unfinished }, nil},
	{api.Todo{ID: TodoInDoubt, Act: "Have the printer measure its bed map again, then measure. Do not print before.", Says: "The bed map could not be brought to a known state.", Grave: true},
		func(s Snapshot) bool { return s.Applied.State == api.ApplyFailed }, func(s Snapshot, t *api.Todo) {
			if s.Applied.Half {
				t.Act, t.Commands = "Undo the correction. Do not print before.", []string{"abbed correction undo"}
			}
		}},
	{api.Todo{ID: TodoOwed, Act: "Home the printer first, so that abbed puts back what a run switched off. Do not print before.", Commands: []string{"abbed confirm"}, Grave: true},
		func(s Snapshot) bool { return len(s.Printer.Owed) > 0 && !going(s) }, func(s Snapshot, t *api.Todo) {
			t.Says = "To be put back: " + Owed(s.Printer.Owed) + "."
		}},
	{api.Todo{ID: TodoNotVerified, Act: "Set the Z offset as the page says, or undo the correction.", Says: "The nozzle is not where the correction should leave it.", Commands: []string{"abbed correction undo"}},
		func(s Snapshot) bool {
			return s.Applied.State == api.Kept && s.Applied.Error != nil && s.Applied.Error.Code == "not-proved"
		},
		func(s Snapshot, t *api.Todo) {
			if h := s.Applied.Error.Hint; h != "" {
				t.Act = sentence(h)
			}
		}},
	{api.Todo{ID: TodoTwist, Act: "Undo the correction, look for what came loose, then measure again.", Says: "The head tilts differently than when the correction was made.", Commands: []string{"abbed correction undo"}},
		func(s Snapshot) bool { return s.Expiry == ExpiredTwist }, nil},
	{api.Todo{ID: TodoLever, Act: "Undo the correction, then measure again.", Says: "The correction was made for another probe offset.", Commands: []string{"abbed correction undo"}},
		func(s Snapshot) bool { return s.Expiry == ExpiredLever }, nil},
	{api.Todo{ID: TodoMap, Act: "Apply the correction again, or measure again.", Says: "The bed map was measured again or changed: it lacks the correction.", Commands: []string{"abbed correction reapply"}},
		func(s Snapshot) bool { return s.Expiry == ExpiredMap || s.Expiry == ExpiredMixed }, func(s Snapshot, t *api.Todo) {
			if s.Expiry == ExpiredMixed { // a re-apply would be refused
				t.Act = "Have the printer measure its bed map again, then apply the correction again."
			}
		}},
	{api.Todo{ID: TodoRepair, Act: "Repair what the finding names, then measure again. No correction is offered.", Says: "The error is beyond what a correction may do.", Commands: []string{"abbed runs report", "abbed measure"}},
		func(s Snapshot) bool {
			return s.Analysis != nil && slices.ContainsFunc(s.Analysis.Findings, func(f api.Finding) bool { return f.ID == analysis.Repair })
		}, nil},
	{api.Todo{ID: TodoUnsteady, Act: "Read the findings of the latest run: play, wheels, probe or drift. Repair before you correct.", Says: "The printer does not repeat.", Commands: []string{"abbed runs report", "abbed measure repeat"}},
		func(s Snapshot) bool { return s.Steady != nil && !s.Steady.Steady }, nil},
	{api.Todo{ID: TodoDisk, Act: "Make room: a run ends when no more can be kept.", Says: "The disk of the state directory is nearly full."},
		func(s Snapshot) bool { return !s.At.IsZero() && s.Kept.Free >= 0 && s.Kept.Free < diskRoom }, nil},
	{api.Todo{ID: TodoLinkLost, Act: "Look at the printer's power and cable.", Says: "The printer does not answer."},
		func(s Snapshot) bool { return s.Printer.Link == api.Lost }, nil},
	{api.Todo{ID: TodoUnopened, Act: "See that nothing prints, then open the port on the page.", Says: "Opening the port may reset the printer's board."},
		func(s Snapshot) bool { return s.Printer.Link == api.Unopened }, nil},
	{api.Todo{ID: TodoConfirmation, Act: "Confirm the run at the machine, or withdraw it.", Says: "A run waits for a person.", Commands: []string{"abbed confirm", "abbed stop"}},
		func(s Snapshot) bool { return s.Run != nil && s.Run.State == api.AwaitingConfirmation }, nil},
	{api.Todo{ID: TodoQuestion, Act: "Answer the run's question on the page, or stop the run.", Says: "A run waits for an answer.", Commands: []string{"abbed stop"}},
		func(s Snapshot) bool { return s.Run != nil && s.Run.State == api.AwaitingPerson }, nil},
	{api.Todo{ID: TodoCheck, Act: "Start a check, without the feeler gauge.", Says: "A check is due.", Commands: []string{"abbed measure --quick"}},
		func(s Snapshot) bool { return !s.Check.Due.IsZero() && s.Check.Due.Before(time.Now()) && !going(s) }, nil},
}

// Matters names all that Todo may say, the gravest first.
func Matters() []api.Todo {
	out := make([]api.Todo, len(matters))
	for i, m := range matters {
		out[i] = m.Todo
	}
	return out
}

// Todo says what a person should do at a printer, the gravest first.
func Todo(s Snapshot) []api.Todo {
	out := []api.Todo{}
	for _, m := range matters {
		if !m.holds(s) {
			continue
		}
		t := m.Todo
		if m.more != nil {
			m.more(s, &t)
		}
		if t.Commands == nil {
			t.Commands = []string{}
		}
		out = append(out, t)
	}
	return out
}

func going(s Snapshot) bool { return s.Run != nil && !s.Run.State.Over() }

// Owed names for a person what a run switched off.
func Owed(switches []string) string {
	names := map[string]string{
		string(record.SwitchLevelling): "the levelling", string(record.SwitchUnlevelled): "the levelling, which was off before",
		string(record.SwitchLimits): "the travel limits", string(record.SwitchIdle): "the idle switch-off of the motors",
		string(record.SwitchHeaters): "the heaters",
	}
	var out []string
	for _, s := range switches {
		if n := names[s]; n != "" {
			s = n
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}
