package config

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Window is a part of each week by the clock on the wall. The zero Window is
// all of it.
type Window struct {
	days     [7]bool // from Sunday; none: every day
	hours    bool
	from, to time.Duration // since midnight; from > to: over midnight
}

// dayNames are the days, from Sunday, as in time.Weekday.
var dayNames = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// ParseWindow reads days, hours or both: "mon-fri 08:00-18:00", "sat,sun",
// "22:00-06:00". Hours over midnight belong to the day on which they begin; the
// end is not part of them. "" is always.
func ParseWindow(text string) (Window, error) {
	var w Window
	fields := strings.Fields(strings.ToLower(text))
	if len(fields) > 0 && !strings.Contains(fields[0], ":") {
		if err := w.takeDays(fields[0]); err != nil {
			return Window{}, err
		}
		fields = fields[1:]
	}
	if len(fields) > 0 {
		if err := w.takeHours(fields[0]); err != nil {
			return Window{}, err
		}
		fields = fields[1:]
	}
	if len(fields) > 0 {
		return Window{}, fmt.Errorf("%s is too much: days and hours are all", quote(fields[0]))
	}
	return w, nil
}

func (w *Window) takeDays(text string) error {
	for part := range strings.SplitSeq(text, ",") {
		first, last, span := strings.Cut(part, "-")
		if !span {
			last = first
		}
		a, b := slices.Index(dayNames, first), slices.Index(dayNames, last)
		if a < 0 || b < 0 {
			return fmt.Errorf("%s is no day or span of days: sun, mon, tue, wed, thu, fri, sat", quote(part))
		}
		for d := a; ; d = (d + 1) % 7 {
			w.days[d] = true
			if d == b {
				break
			}
		}
	}
	return nil
}

func (w *Window) takeHours(text string) error {
	first, last, _ := strings.Cut(text, "-")
	a, err := time.Parse("15:04", first)
	b, err2 := time.Parse("15:04", last)
	if err != nil || err2 != nil || a.Equal(b) {
		return fmt.Errorf("%s is no span of hours such as 08:00-18:00", quote(text))
	}
	w.hours, w.from, w.to = true, sinceMidnight(a), sinceMidnight(b)
	return nil
}

func sinceMidnight(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
}

// Has reports whether t, by the clock of its own place, lies in the window.
func (w Window) Has(t time.Time) bool {
	day, at := int(t.Weekday()), sinceMidnight(t)
	if w.hours {
		switch {
		case w.from < w.to && (at < w.from || at >= w.to):
			return false
		case w.from > w.to && at < w.from && at >= w.to:
			return false
		case w.from > w.to && at < w.to:
			day = (day + 6) % 7 // it began yesterday
		}
	}
	return w.days == [7]bool{} || w.days[day]
}

// calendar checks what hangs together in check.
func (c *check) calendar(s Settings) {
	if _, err := ParseWindow(s.Check.Window); err != nil {
		c.fault("check.window", s.Check.Window, err.Error()+"; needs days, hours or both, such as mon-fri 08:00-18:00")
	}
	if s.Check.Every != 0 && s.Check.Every < time.Hour {
		c.fault("check.every", s.Check.Every, "needs an hour at least, or 0s for never")
	}
	if s.Check.Heat && s.Heat.Nozzle == 0 && s.Heat.Bed == 0 {
		c.fault("check.heat", s.Check.Heat, "needs heat.nozzle or heat.bed: to which temperature?")
	}
	if s.Check.Begins != CheckBegins {
		return
	}
	if !s.AttendedStarts {
		c.fault("check.begins", s.Check.Begins, "begin needs attended_starts: true, for a person who always stands there; or set it to ask")
	}
	if strings.TrimSpace(s.Check.Window) == "" {
		c.fault("check.begins", s.Check.Begins, "begin needs check.window: the days and hours at which a person stands there")
	}
}
