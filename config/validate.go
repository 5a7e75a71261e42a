package config

import (
	"fmt"
	"maps"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"abbed/config/outside"
	"abbed/probe/record"
)

// Validate returns every fault of s: numbers outside their ranges (a NaN is
// outside all), words that are none, places that do not fit each other. An
// empty port is no fault: only some commands need one.
func (s Settings) Validate() []Fault {
	var c check
	for _, f := range table {
		c.field(f, f.value(&s))
	}
	c.addresses(s)
	c.access(s)
	c.places(s)
	c.heights(s)
	c.wheels(s.Turns)
	c.calendar(s)
	if places, err := s.Desk.Places(); s.Desk.Supports != "" && (err != nil || len(places) < 3) {
		c.fault("desk.supports", s.Desk.Supports, "give x,y in mm of three or more screws, such as 30,30 205,30 117.5,205")
	}
	c.words("words.templates", s.Words.Templates)
	c.words("words.patterns", s.Words.Patterns)
	return c.faults
}

// check gathers faults; one fault a field is enough.
type check struct{ faults []Fault }

func (c *check) fault(field string, value any, hint string) {
	if !slices.ContainsFunc(c.faults, func(f Fault) bool { return f.Field == field }) {
		c.faults = append(c.faults, Fault{Field: field, Value: show(value), Hint: hint})
	}
}

// field checks one field by the table.
func (c *check) field(f Field, v any) {
	in := true
	span := func(xs ...float64) {
		for _, x := range xs {
			in = in && x >= f.Lo && x <= f.Hi
		}
	}
	switch v := v.(type) {
	case string:
		in = f.Words == nil || slices.Contains(f.Words, v)
		if outside.Text(v) != v {
			c.fault(f.Key, v, "needs one line, and no characters that cannot be seen")
		}
	case int:
		span(float64(v))
	case float64:
		span(v)
	case time.Duration:
		span(v.Seconds())
	case Rect:
		span(v.X0, v.Y0, v.X1, v.Y1)
	case XY:
		span(v.X, v.Y)
	}
	if !in {
		c.fault(f.Key, v, f.hint())
	}
}

func (c *check) addresses(s Settings) {
	host, port, err := net.SplitHostPort(s.Listen)
	if _, e := strconv.ParseUint(port, 10, 16); err != nil || e != nil {
		c.fault("listen", s.Listen, "needs host:port with a port of 0..65535, such as 127.0.0.1:8077")
	} else if _, e := netip.ParseAddr(host); e != nil && host != "" && !ofHostShape(host) {
		c.fault("listen", s.Listen, "needs the name or the address of this machine before the port")
	}
	if rest, ok := strings.CutPrefix(s.Port, "tcp://"); ok {
		u, err := url.Parse(s.Port)
		if err != nil || u.Hostname() == "" || u.Port() == "" || u.Host != rest {
			c.fault("port", s.Port, "needs tcp://host:port")
		}
	} else if strings.Contains(s.Port, "://") {
		c.fault("port", s.Port, "needs a device, a pseudo-terminal or tcp://host:port")
	}
}

// hostShape is the shape of a host name (RFC 1123). Its length is checked apart:
// a pattern that counts to 252 takes 0.2 MB and 2 ms of each start.
var hostShape = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$`)

// ofHostShape reports whether host has the shape of a name: 254 characters at most.
func ofHostShape(host string) bool { return len(host) <= 254 && hostShape.MatchString(host) }

// places checks that the rectangles have an area and lie over each other.
func (c *check) places(s Settings) {
	for _, r := range []struct {
		key string
		at  *Rect
	}{{"bed", s.Bed}, {"map_area", s.MapArea}, {"travel", s.Travel}} {
		if r.at == nil {
			continue
		}
		if !r.at.Valid() {
			c.fault(r.key, *r.at, "needs X0,Y0,X1,Y1 with X0 < X1 and Y0 < Y1")
		} else if s.Bed != nil && s.Bed.Valid() && !overlap(*r.at, *s.Bed) {
			c.fault(r.key, *r.at, fmt.Sprintf("lies beside the bed %v; both are in the nozzle's coordinates", *s.Bed))
		}
	}
	if s.ZeroAt != nil && s.Bed != nil && s.Bed.Valid() && !s.Bed.Has(record.Place{U: s.ZeroAt.X, V: s.ZeroAt.Y}) {
		c.fault("zero_at", *s.ZeroAt, fmt.Sprintf("lies beside the bed %v; it is where the Z offset was set", *s.Bed))
	}
}

func overlap(a, b Rect) bool {
	return a.X0 < b.X1 && b.X0 < a.X1 && a.Y0 < b.Y1 && b.Y0 < a.Y1
}

// heights checks what hangs together in Z, and heat.
func (c *check) heights(s Settings) {
	if s.Trigger != nil && !(s.Clearance >= *s.Trigger+1) {
		c.fault("clearance", s.Clearance, fmt.Sprintf("needs at least trigger + 1 = %s mm: the probe's tip may hang that far below the nozzle", number(*s.Trigger+1)))
	}
	if s.Heat.Nozzle > s.Heat.NozzleMax {
		c.fault("heat.nozzle", s.Heat.Nozzle, "is above heat.nozzle_max = "+number(s.Heat.NozzleMax)+"; lower it, or raise that if the maker allows it")
	}
	if s.Heat.Bed > s.Heat.BedMax {
		c.fault("heat.bed", s.Heat.Bed, "is above heat.bed_max = "+number(s.Heat.BedMax)+"; lower it, or raise that if the maker allows it")
	}
}

// mostWord bounds a template or pattern, bytes: four lines of the wire
// (RS-274/NGC has 256 characters a line).
const mostWord = 1024

// words checks templates (one line of the wire) and patterns (they compile).
func (c *check) words(parent string, m map[string]string) {
	for _, n := range slices.Sorted(maps.Keys(m)) {
		text, key := m[n], parent+"."+n
		switch {
		case strings.TrimSpace(text) == "" || len(text) > mostWord:
			c.fault(key, text, fmt.Sprintf("needs a text of 1..%d bytes", mostWord))
		case outside.Text(text) != text:
			c.fault(key, text, "needs one line, and no characters that cannot be seen")
		case parent == "words.patterns":
			if _, err := regexp.Compile(text); err != nil {
				c.fault(key, text, "needs a regular expression: "+strings.TrimPrefix(err.Error(), "error parsing regexp: "))
			}
		}
	}
}

// wheels checks that the range of the wheels is one.
func (c *check) wheels(k Turns) {
	if k.WheelLeast > k.WheelMost {
		c.fault("turns.wheel_least", k.WheelLeast, "needs at most turns.wheel_most, "+strconv.FormatFloat(k.WheelMost, 'g', -1, 64)+" mm")
	}
}
