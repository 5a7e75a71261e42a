package api

import "context"

// Desk is what a front (the handlers of the API, the page) may ask of the
// daemon: what each verb is says Verbs. Every refusal is an *Error. None of the reads waits for the printer.
type Desk interface {
	Printer() Printer
	OpenPort(ctx context.Context, o Open) error
	Check() Check
	Room() ([]Neighbour, error)

	StartRun(ctx context.Context, n NewRun, by string) (Run, error)
	Confirm(ctx context.Context, id string, c Confirm) error
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
	Compare(before, after string) (Comparison, error)
	History() (History, error)
	Levers(id string, a AskLevers) (Levers, error)
	Repair(id string, a AskRepair) (Repair, error)
	ProofPrint(a AskPrint) (ProofPrint, error)
	Thickness(ctx context.Context, id string, t Thickness, by string) (Proof, error)
	Readings(ctx context.Context, id string, r Readings, by string) (ReadingsKept, error)

	SignOff(ctx context.Context, digest string, s SignOff) (SignedOff, error)
	Apply(ctx context.Context, digest string, a Apply, by string) error
	Applied() Applied
	Undo(ctx context.Context, by string) error
	Resolve(ctx context.Context, r Resolve, by string) error
	Prove(ctx context.Context, by string) (Run, error)
	Reapply(ctx context.Context, by string) error

	Stop(ctx context.Context, s AskStop, by string) (StopAnswer, error)
}
