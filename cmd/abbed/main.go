// Command abbed tells the bed from the beam: it surveys a printer's bed with the
// printer's own probe, has a person gauge the nozzle, works out what the head's
// tilt costs at the nozzle, and offers a correction that is reviewed, signed
// off, applied, read back and undone.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/cmd/abbed/process"
	"abbed/config/outside"
)

// version of the program, and the commit it was built from; deploy/build sets
// them with -ldflags.
var (
	version = "0.1-dev"
	commit  = ""
)

// Exit codes, as the contract has them.
const (
	exitDone    = 0
	exitCould   = 1 // could not
	exitUsage   = 2 // wrong usage or settings
	exitRefused = 3 // refused for safety
)

// exit is an error that ends the program with a code.
type exit struct {
	code int
	err  error
}

func (e *exit) Error() string { return e.err.Error() }
func (e *exit) Unwrap() error { return e.err }

func usage(err error) error   { return &exit{exitUsage, err} }
func refused(err error) error { return &exit{exitRefused, err} }

// misused says what is wrong with flags or arguments, which stand in it as they were
// typed, or put in by a script.
func misused(c *cobra.Command, err error) error {
	text := err.Error()
	var bad *pflag.InvalidValueError
	if errors.As(err, &bad) {
		text = fmt.Sprintf("--%s %q: %s", bad.GetFlag().Name, bad.GetValue(), wanted(bad))
	}
	return usage(fmt.Errorf("%s; see %s --help", outside.Text(text), c.CommandPath()))
}

// wanted says what a flag takes, in place of what a library says of what it did not.
func wanted(bad *pflag.InvalidValueError) string {
	switch kind := bad.GetFlag().Value.Type(); kind {
	case "float64":
		return "a number is wanted, such as 0.5"
	case "int", "uint64":
		return "a whole number is wanted"
	case "duration":
		return "a time with its unit is wanted, such as 10s, and at most 2000000h"
	case "bool":
		return "true or false is wanted"
	}
	return bad.Unwrap().Error()
}

func main() {
	process.Slim()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(Main(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// Main runs the program and returns its exit code. Results go to out, words for
// people to errs.
func Main(ctx context.Context, args []string, out, errs io.Writer) int {
	root := commands()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	tellError(errs, err)
	var e *exit
	if errors.As(err, &e) {
		return e.code
	}
	return exitCould
}

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Say which version this is.",
		RunE: func(c *cobra.Command, _ []string) error {
			_, err := fmt.Fprintf(c.OutOrStdout(), "abbed %s (commit %s, %s, %s/%s)\n", version, builtFrom(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}

// builtFrom names the commit: as it was set, else as the compiler noted it.
func builtFrom() string {
	if commit != "" {
		return commit
	}
	if b, ok := debug.ReadBuildInfo(); ok {
		for _, s := range b.Settings {
			if s.Key == "vcs.revision" {
				return s.Value
			}
		}
	}
	return "unknown"
}
