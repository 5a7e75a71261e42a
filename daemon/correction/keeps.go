package correction

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// atRestart is the report that holds the printer's settings as they were printed
// after its last restart that was seen: what it had kept.
func atRestart(printer string) string { return "settings-at-restart/" + printer }

// KeepReport keeps the settings that the printer printed right after a restart.
func (d *Correction) KeepReport() {
	l := d.o.Link.Now()
	if l.Link != api.Ready || l.Facts == nil || !l.Facts.Fresh || l.Facts.Settings == "" {
		return
	}
	if err := d.o.Store.SaveReport(context.Background(), atRestart(l.Facts.Identity.ID), l.Facts.Settings, time.Now()); err != nil {
		d.o.Log.Error("the printer's settings at its restart cannot be kept", "err", err)
		return
	}
	d.o.Link.Learn(func(f *link.Facts) { f.Fresh = false })
}

// keeps says what keeping would store beside the map: the settings as they were
// printed last, by the run or since, against those of the last restart that was
// seen. Lines that change by themselves are no settings.
func (d *Correction) keeps(run record.Run) *api.Keeps {
	now, restless := run.Settings, map[string]bool(nil)
	if f := d.o.Link.Now().Facts; f != nil && f.Identity.ID == run.Setup.Printer.ID && f.SettingsAt.After(run.Began) {
		now, restless = f.Settings, f.Restless
	}
	if now == "" {
		return nil
	}
	k := &api.Keeps{Now: now, Changed: []string{}}
	text, at, err := d.o.Store.Report(context.Background(), atRestart(run.Setup.Printer.ID))
	if err != nil {
		if !errors.Is(err, store.ErrNone) {
			d.o.Log.Error("the printer's settings at its restart cannot be read", "err", err)
		}
		return k
	}
	k.AtRestart, k.At = &text, &at
	for _, l := range changedLines(text, k.Now) {
		if !restless[shape(l[2:])] {
			k.Changed = append(k.Changed, l)
		}
	}
	return k
}

// askKeeps has the printer print its settings now: what it would keep at this
// moment is shown to whoever signs off, and not what a run once read.
func (d *Correction) askKeeps(ctx context.Context) error {
	loan, err := d.o.Link.Lend()
	if err != nil {
		return err
	}
	homed := d.o.Link.Now().Homed
	defer func() { loan.Back(homed) }()
	sess, _, err := loan.Open(ctx)
	if err != nil {
		return refuse.Of(err)
	}
	text, restless, err := settledSettings(ctx, sess, d.o.Words)
	if err != nil {
		return refuse.Of(fmt.Errorf("approve: ask what the printer would keep: %w", err))
	}
	d.o.Link.Learn(func(f *link.Facts) { f.Settings, f.SettingsAt, f.Restless = text, time.Now(), restless })
	return nil
}

// settledSettings asks for the settings until two prints in a row are alike,
// four times at most: a line may be damaged on its way, and some printers print
// what is no setting among them. What still differs is restless, by its shape.
func settledSettings(ctx context.Context, line link.Asker, words *dialect.Dialect) (text string, restless map[string]bool, err error) {
	for try := range 4 {
		r, err := line.Ask(ctx, words.Settings())
		if err != nil {
			return "", nil, err
		}
		last := text
		text = words.ReadSettings(r)
		if try == 0 {
			continue
		}
		differ := changedLines(last, text)
		if len(differ) == 0 {
			return text, nil, nil
		}
		restless = map[string]bool{}
		for _, l := range differ {
			restless[shape(l[2:])] = true
		}
	}
	return text, restless, nil
}

// shape is a line without its digits.
func shape(line string) string {
	return strings.Map(func(c rune) rune {
		if c >= '0' && c <= '9' {
			return -1
		}
		return c
	}, line)
}

// changedLines returns the lines that only one of two reports has: "- " before
// those of was, "+ " before those of is, each in its order.
func changedLines(was, is string) []string {
	a, inA := reportLines(was)
	b, inB := reportLines(is)
	out := []string{}
	for _, l := range a {
		if !inB[l] {
			out = append(out, "- "+l)
		}
	}
	for _, l := range b {
		if !inA[l] {
			out = append(out, "+ "+l)
		}
	}
	return out
}

// reportLines returns the lines of a report, and which there are.
func reportLines(text string) (lines []string, there map[string]bool) {
	there = map[string]bool{}
	for l := range strings.Lines(text) {
		if l = strings.Join(strings.Fields(l), " "); l != "" {
			lines, there[l] = append(lines, l), true
		}
	}
	return lines, there
}

// keepsID names the caution about keeping. Where lines changed, its name holds
// what they are, so that a person confirms what was shown and nothing else.
func keepsID(k *api.Keeps) string {
	if k == nil || len(k.Changed) == 0 {
		return "keeps-all"
	}
	sum := sha256.Sum256([]byte(strings.Join(k.Changed, "\n")))
	return "keeps-all-" + hex.EncodeToString(sum[:4])
}

// keepsAll is the caution about keeping, with what is known.
func keepsAll(k *api.Keeps) string {
	text := "I looked at the printer's settings. Saving the bed map saves all that is in force, its idle switch-off too."
	switch {
	case k == nil:
		return text + " This printer does not show its settings."
	case k.AtRestart == nil:
		return text + " abbed saw no restart yet, so it cannot show what changed."
	case len(k.Changed) == 0:
		return text + " Nothing changed since the last restart."
	}
	return text + fmt.Sprintf(" Since the last restart %d lines changed: %s.", len(k.Changed), few(k.Changed))
}

func few(lines []string) string {
	const most = 6
	text := strings.Join(lines[:min(most, len(lines))], ", ")
	if len(lines) > most {
		text += fmt.Sprintf(", and %d more", len(lines)-most)
	}
	return text
}
