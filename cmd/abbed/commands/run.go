package commands

import (
	"context"
	"errors"
	"io"

	"abbed/cmd/abbed/console"
)

// Main runs the program and returns its exit code. Results go to out, words for
// people to errs.
func Main(ctx context.Context, args []string, out, errs io.Writer) int {
	root := Commands()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return console.ExitDone
	}
	TellError(errs, err)
	var e *console.Exit
	if errors.As(err, &e) {
		return e.Code
	}
	return console.ExitCould
}
