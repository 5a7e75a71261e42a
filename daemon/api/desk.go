package api

import "context"

// Desk is what a front (the handlers of the API, the page) may ask of the
// daemon. Every refusal is an *Error. None of the reads waits for the printer.
type Desk interface {
	Printer() Printer
	OpenPort(ctx context.Context, o Open) error
	// Check says when the next quick check is due.
	Check() Check
	// Room lists the printers that are known to this machine.
	Room() ([]Neighbour, error)

	StartRun(ctx context.Context, n NewRun, by string) (Run, error)
	Confirm(ctx context.Context, id string, c Confirm) error
	// Withdraw ends a run that nobody has confirmed; nothing goes to the printer.
	Withdraw(ctx context.Context, id string, by string) error
	Runs() ([]Run, error)
	Run(id string) (Run, error)
	Answer(ctx context.Context, id string, a AnswerPrompt, by string) error
	// Gauge answers when the move has ended.
	Gauge(ctx context.Context, id string, a GaugeAction) (Run, error)
	// Changed returns a channel that is closed when anything a front shows has
	// changed since the call.
	Changed() <-chan struct{}

	Record(id string) (Record, error)
	Analysis(id string) (Analysis, error)
	Gap(id string, a AskGap) ([]Gap, error)
	Table(id string) (Table, error)
	Looker
	// Repair says what a person can do with tools.
	Repair(id string, a AskRepair) (Repair, error)
	// ProofPrint makes the file of a proof print over what the run has gauged; without
	// one over the reach.
	ProofPrint(a AskPrint) (ProofPrint, error)
	// Thickness takes the readings of a proof print and says what they prove.
	Thickness(ctx context.Context, id string, t Thickness, by string) (Proof, error)
	// Readings takes what a person read from instruments of their own.
	Readings(ctx context.Context, id string, r Readings, by string) (ReadingsKept, error)

	SignOff(ctx context.Context, digest string, s SignOff) (SignedOff, error)
	Apply(ctx context.Context, digest string, a Apply, by string) error
	Applied() Applied
	Undo(ctx context.Context, by string) error
	Resolve(ctx context.Context, r Resolve, by string) error
	// Prove opens a run that gauges the nozzle with the correction in force.
	Prove(ctx context.Context, by string) (Run, error)
	// Reapply puts the correction that was signed off onto a newly measured map.
	Reapply(ctx context.Context, by string) error

	// Stop ends what goes on; a stop request goes out at once.
	Stop(ctx context.Context, s AskStop, by string) (StopAnswer, error)
}
