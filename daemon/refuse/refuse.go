// Package refuse turns any error into the one that the API answers with: a code, the fact, and
// what to do.
package refuse

import (
	"context"
	"errors"
	"slices"

	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/probe"
)

// conflicts are the refusals of a run that are answered with 409: the state
// does not allow it. All others are 422: what was asked is out of bounds.
var conflicts = map[string]bool{
	"wrong-state": true, "lower-first": true, "nothing-to-forget": true, "zero-needed": true,
	"foreign-use": true, "unhomed": true, "unknown-prompt": true,
}

// Of turns any error into one of the API's.
func Of(err error) *api.Error {
	var known *api.Error
	var refused *probe.Refused
	var fault *probe.Fault
	switch {
	case err == nil:
		return nil
	case errors.As(err, &known):
		return known
	case errors.As(err, &refused):
		status := 422
		if conflicts[refused.Code] {
			status = 409
		}
		return &api.Error{Status: status, Code: refused.Code, Text: refused.Text, Hint: refused.Hint}
	case errors.As(err, &fault):
		return &api.Error{Status: 502, Code: codeOf(err, fault.Code), Text: fault.Error(), Hint: fault.Hint}
	}
	return &api.Error{Status: 502, Code: codeOf(err, "failed"), Text: err.Error(), Hint: "look at the machine, then try again"}
}

// Store turns an error of the store into one of the API's: what the disk
// has, a damaged entry, or a question that was given up, which says nothing about
// either.
func Store(err error) *api.Error {
	e := &api.Error{Status: 500, Code: "internal", Text: err.Error(), Hint: "see the log"}
	switch hint := store.Hint(err); {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		e.Status, e.Code, e.Hint = 503, "given-up", "ask again"
	case errors.Is(err, store.ErrDamaged):
		e.Code, e.Hint = "store-damaged", hint
	case hint != "":
		e.Code, e.Hint = "store", hint
	}
	return e
}

// codeOf names the cause of a failure of the line; else otherwise.
func codeOf(err error, otherwise string) string {
	if code := gcode.Code(err); code != "" {
		return code
	}
	return otherwise
}

// Unconfirmed returns the identifiers of the cautions that are not confirmed.
func Unconfirmed(all []api.Caution, confirmed []string) []string {
	var out []string
	for _, c := range all {
		if !slices.Contains(confirmed, c.ID) {
			out = append(out, c.ID)
		}
	}
	return out
}

// CautionsMissing is the refusal where they are not.
func CautionsMissing(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "read each caution and confirm all of them", "not every caution is confirmed: %v", ids)
	e.Missing = ids
	return e
}
