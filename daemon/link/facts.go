package link

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"abbed/gcode"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Facts are what the printer answered when it was identified; what it did not
// answer is nil or empty. Immutable once made.
type Facts struct {
	Identity  record.Identity
	Caps      map[string]bool
	Lever     *record.Lever
	ZOffset   *float64
	Travel    *record.Travel
	LimitsOn  *bool
	Levelling *bool
	Map       [][]int64
	MapWhy    string
	// MapAsked says that Map was read when the printer was identified, and not
	// learnt from a job since.
	MapAsked bool `json:"-"`
	// Settings is what the printer printed at SettingsAt; Restless are the shapes
	// of those of its lines that change by themselves.
	Settings   string
	SettingsAt time.Time       `json:"-"`
	Restless   map[string]bool `json:"-"`
	// Fresh says that Settings were printed right after a restart of the board,
	// and are not kept yet.
	Fresh bool `json:"-"`
	// IdleOff is the idle switch-off of the motors, s, if the settings report
	// holds it.
	IdleOff *int
	Framed  bool
	Temps   *dialect.Temps
	// TempsAt is when Temps were read.
	TempsAt time.Time `json:"-"`
}

// Asker asks the printer.
type Asker interface {
	Ask(context.Context, gcode.Query) (gcode.Reply, error)
}

// Identify asks everything that a run and the page want to know. It moves
// nothing and changes nothing. An error means that the line failed; what is
// merely not answered is left out.
func Identify(ctx context.Context, line Asker, words *dialect.Dialect, port string) (Facts, error) {
	f := Facts{Identity: record.Identity{Port: port}}
	ask := func(q gcode.Query) (gcode.Reply, error) { return line.Ask(ctx, q) }
	for _, step := range []func(askFunc, *dialect.Dialect) error{
		f.who, f.settings, f.lever, f.limits, f.Stored, f.heat,
	} {
		if err := step(ask, words); err != nil {
			return f, err
		}
	}
	return f, nil
}

// askFunc asks the printer one thing.
type askFunc = func(gcode.Query) (gcode.Reply, error)

func (f *Facts) who(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Identify())
	if err != nil {
		return fmt.Errorf("link: identify the printer: %w", err)
	}
	if id, ok := words.ReadIdentity(r); ok {
		f.Identity.Fields, f.Caps = id.Fields, id.Caps
	}
	f.Identity.ID = fingerprint(f.Identity)
	return nil
}

// fingerprint names a printer by what it says of itself, without what may differ
// from day to day. A printer that says nothing is named by its port.
func fingerprint(id record.Identity) string {
	var b strings.Builder
	for _, k := range slices.Sorted(maps.Keys(id.Fields)) {
		fmt.Fprintf(&b, "%s=%s\n", k, id.Fields[k])
	}
	if b.Len() == 0 {
		b.WriteString(id.Port)
	}
	sum := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(sum[:8])
}

func (f *Facts) settings(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Settings())
	if err != nil {
		return fmt.Errorf("link: read the settings: %w", err)
	}
	f.Settings, f.SettingsAt = words.ReadSettings(r), time.Now()
	f.takeIdle()
	f.takeLever(words, r)
	if on, ok := words.ReadLevelling(r); ok {
		f.Levelling = &on
	}
	return nil
}

// idleWord finds the word that sets the idle switch-off in a settings report.
var idleWord = regexp.MustCompile(`(?im)\bM(?:84|18)\s+S\s*(\d{1,6})\b`)

func (f *Facts) takeIdle() {
	if s, ok := IdleOffIn(f.Settings); ok {
		f.IdleOff = &s
	}
}

// IdleOffIn returns the idle switch-off of a settings report, s.
func IdleOffIn(settings string) (int, bool) {
	m := idleWord.FindStringSubmatch(settings)
	if m == nil {
		return 0, false
	}
	s, err := strconv.Atoi(m[1])
	return s, err == nil
}

func (f *Facts) takeLever(words *dialect.Dialect, r gcode.Reply) {
	if l, z, ok := words.ReadLever(r); ok {
		f.Lever, f.ZOffset = &l, &z
	}
}

func (f *Facts) lever(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Lever())
	if err != nil {
		return fmt.Errorf("link: read the lever: %w", err)
	}
	f.takeLever(words, r)
	return nil
}

func (f *Facts) limits(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Limits())
	if err != nil {
		return fmt.Errorf("link: read the travel limits: %w", err)
	}
	if l, ok := words.ReadLimits(r); ok {
		f.Travel = &l.Travel
		if l.Known {
			f.LimitsOn = &l.On
		}
	}
	return nil
}

// Stored asks for the stored map.
func (f *Facts) Stored(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Map())
	if err != nil {
		return fmt.Errorf("link: read the bed map: %w", err)
	}
	f.takeMap(words.ReadMap(r))
	if on, ok := words.ReadLevelling(r); ok && f.Levelling == nil {
		f.Levelling = &on
	}
	return nil
}

func (f *Facts) takeMap(rows [][]int64, ok bool, err error) {
	f.Map, f.MapAsked, f.MapWhy = nil, false, ""
	switch {
	case err != nil:
		f.MapWhy = err.Error()
	case !ok:
		f.MapWhy = "the printer printed no bed map"
	default:
		f.Map, f.MapAsked = rows, true
	}
}

// readMapAgain asks for the map until two prints in a row are alike, four times
// at most: nothing in a print tells that a digit was damaged on the way.
func (f *Facts) readMapAgain(ctx context.Context, line Asker, words *dialect.Dialect) error {
	for try := 0; f.MapAsked; try++ {
		r, err := line.Ask(ctx, words.Map())
		if err != nil {
			return fmt.Errorf("link: read the bed map: %w", err)
		}
		last := f.Map
		f.takeMap(words.ReadMap(r))
		switch {
		case slices.EqualFunc(f.Map, last, slices.Equal):
			return nil
		case try == 2:
			f.takeMap(nil, false, errors.New("the printer prints its bed map otherwise each time"))
		}
	}
	return nil
}

func (f *Facts) heat(ask askFunc, words *dialect.Dialect) error {
	r, err := ask(words.Temperatures())
	if err != nil {
		return fmt.Errorf("link: read the temperatures: %w", err)
	}
	if t, ok := words.ReadTemperatures(r); ok {
		f.Temps, f.TempsAt = &t, time.Now()
	}
	return nil
}
