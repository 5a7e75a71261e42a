package console

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/config/outside"
)

// Exit codes, as the contract has them.
const (
	ExitDone    = 0
	ExitCould   = 1 // could not
	ExitUsage   = 2 // wrong usage or settings
	ExitRefused = 3 // refused for safety
)

// Exit is an error that ends the program with a code.
type Exit struct {
	Code int
	err  error
}

func (e *Exit) Error() string { return e.err.Error() }

func (e *Exit) Unwrap() error { return e.err }

func Usage(err error) error { return &Exit{ExitUsage, err} }

func Refused(err error) error { return &Exit{ExitRefused, err} }

// Misused says what is wrong with flags or arguments, which stand in it as they were
// typed, or put in by a script.
func Misused(c *cobra.Command, err error) error {
	text := err.Error()
	var bad *pflag.InvalidValueError
	if errors.As(err, &bad) {
		text = fmt.Sprintf("--%s %q: %s", bad.GetFlag().Name, bad.GetValue(), wanted(bad))
	}
	return Usage(fmt.Errorf("%s; see %s --help", outside.Text(text), c.CommandPath()))
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
