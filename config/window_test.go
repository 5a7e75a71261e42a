package config_test

import (
	"testing"
	"time"

	"abbed/config"
)

// 2026-11-23 was a Monday (any calendar).
func TestWindow(t *testing.T) {
	for text, want := range map[string]map[string]bool{
		"":                      {"2026-11-23 03:00": true},
		"mon-fri 08:00-18:00":   {"2026-11-23 08:00": true, "2026-11-23 07:59": false, "2026-11-23 18:00": false, "2026-11-28 12:00": false, "2026-11-27 17:59": true},
		"sat,sun":               {"2026-11-28 00:00": true, "2026-11-29 23:59": true, "2026-11-30 00:00": false},
		"fri-mon":               {"2026-11-27 12:00": true, "2026-11-29 12:00": true, "2026-11-23 12:00": true, "2026-11-24 12:00": false},
		"22:00-06:00":           {"2026-11-23 23:00": true, "2026-11-23 05:59": true, "2026-11-23 06:00": false, "2026-11-23 21:59": false},
		"  FRI   22:00-06:00  ": {"2026-11-27 22:00": true, "2026-11-28 05:00": true, "2026-11-28 22:30": false, "2026-11-27 05:00": false},
	} {
		w, err := config.ParseWindow(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		for at, in := range want {
			when, err := time.ParseInLocation("2006-01-02 15:04", at, time.FixedZone("somewhere", 2*3600))
			if err != nil {
				t.Fatal(err)
			}
			if w.Has(when) != in {
				t.Errorf("%q has %s: %t", text, at, !in)
			}
		}
	}
	for _, text := range []string{"someday", "mon-", "08:00", "25:00-26:00", "08:00-08:00", "mon 08:00-09:00 now", "mon;tue", "-", "mon,,tue"} {
		if w, err := config.ParseWindow(text); err == nil {
			t.Errorf("%q is taken as %+v", text, w)
		}
	}
}

// What begins by itself needs the owner's word that somebody stands there, and
// when.
func TestCalendarHangsTogether(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*config.Settings)
		fault  string
	}{
		"nothing":        {func(*config.Settings) {}, ""},
		"asks weekly":    {func(s *config.Settings) { s.Check.Every = 168 * time.Hour }, ""},
		"a minute":       {func(s *config.Settings) { s.Check.Every = time.Minute }, "check.every"},
		"no word for it": {func(s *config.Settings) { s.Check.Begins, s.Check.Window = config.CheckBegins, "08:00-18:00" }, "check.begins"},
		"no time for it": {func(s *config.Settings) { s.Check.Begins, s.AttendedStarts = config.CheckBegins, true }, "check.begins"},
		"all of it": {func(s *config.Settings) {
			s.Check.Begins, s.AttendedStarts, s.Check.Window = config.CheckBegins, true, "08:00-18:00"
		}, ""},
		"hot":            {func(s *config.Settings) { s.Check.Heat, s.Heat.Bed = true, 60 }, ""},
		"how hot":        {func(s *config.Settings) { s.Check.Heat = true }, "check.heat"},
		"no such window": {func(s *config.Settings) { s.Check.Window = "noon" }, "check.window"},
		"no such manner": {func(s *config.Settings) { s.Check.Begins = "perhaps" }, "check.begins"},
	} {
		s := config.Default()
		c.change(&s)
		faults := s.Validate()
		if c.fault == "" && len(faults) > 0 || c.fault != "" && (len(faults) != 1 || faults[0].Field != c.fault) {
			t.Errorf("%s: %v, want %q", name, faults, c.fault)
		}
	}
}
