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
	"abbed/probe/record"
)

// Of turns any error into one of the API's: an answer that is in it, else a failure that is
// in it with code and hint, else a failure of which no more is known.
func Of(err error) *api.Error {
	if err == nil {
		return nil
	}
	out := &api.Error{Status: 502, Code: codeOf(err, "failed"), Text: err.Error(), Hint: "look at the machine, then try again"}
	var p *record.Problem
	for inner, first := err, true; errors.As(inner, &p); inner, first = p.Cause, false {
		if p.Status != 0 {
			return p
		}
		if first {
			out.Code, out.Text, out.Hint = codeOf(err, p.Code), p.Error(), p.Hint
		}
	}
	return out
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
