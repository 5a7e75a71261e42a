package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// atRestart is the report that holds the printer's settings as they were printed
// after its last restart that was seen: what it had kept.
func atRestart(printer string) string { return "settings-at-restart/" + printer }

// keepReport keeps the settings that the printer printed right after a restart.
func (d *Daemon) keepReport() {
	l := d.link.now()
	if l.state != api.Ready || l.facts == nil || !l.facts.Fresh || l.facts.Settings == "" {
		return
	}
	if err := d.store.SaveReport(context.Background(), atRestart(l.facts.Identity.ID), l.facts.Settings, time.Now()); err != nil {
		d.log.Error("the printer's settings at its restart cannot be kept", "err", err)
		return
	}
	d.link.learn(func(f *Facts) { f.Fresh = false })
}

// keeps says what keeping would store beside the map: the settings as the run
// read them against those of the last restart that was seen.
func (d *Daemon) keeps(run record.Run) *api.Keeps {
	if run.Settings == "" {
		return nil
	}
	k := &api.Keeps{Now: run.Settings, Changed: []string{}}
	text, at, err := d.store.Report(context.Background(), atRestart(run.Setup.Printer.ID))
	if err != nil {
		if !errors.Is(err, store.ErrNone) {
			d.log.Error("the printer's settings at its restart cannot be read", "err", err)
		}
		return k
	}
	k.AtRestart, k.At = &text, &at
	k.Changed = changedLines(text, k.Now)
	return k
}

// changedLines returns the lines that only one of two reports has: "- " before
// those of was, "+ " before those of is, each in its order.
func changedLines(was, is string) []string {
	a, b := reportLines(was), reportLines(is)
	out := []string{}
	for _, l := range a {
		if !slices.Contains(b, l) {
			out = append(out, "- "+l)
		}
	}
	for _, l := range b {
		if !slices.Contains(a, l) {
			out = append(out, "+ "+l)
		}
	}
	return out
}

func reportLines(text string) []string {
	var out []string
	for l := range strings.Lines(text) {
		if l = strings.Join(strings.Fields(l), " "); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// keepsAll is the caution about keeping, with what is known.
func keepsAll(k *api.Keeps) string {
	text := "Keeping stores everything that is in force in the printer, not only the map. I have looked at its settings; the idle switch-off of the motors is among them, and abbed has put it back to its own setting if the printer did not say what it was."
	switch {
	case k == nil:
		return text + " The printer prints no settings, so abbed cannot show them."
	case k.AtRestart == nil:
		return text + " No restart of the printer was seen yet, so abbed cannot show what was changed since."
	case len(k.Changed) == 0:
		return text + " Its settings are the same as at the last restart that was seen."
	}
	return text + fmt.Sprintf(" Since the last restart that was seen %d lines of them changed, and they will be kept: %s.", len(k.Changed), few(k.Changed))
}

func few(lines []string) string {
	const most = 6
	text := strings.Join(lines[:min(most, len(lines))], "; ")
	if len(lines) > most {
		text += fmt.Sprintf("; and %d more", len(lines)-most)
	}
	return text
}
