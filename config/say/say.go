// Package say writes numbers for people: one form for each kind, on the page, the
// command line, in documents, messages and alerts.
//
// Lengths are in mm, angles in degrees, temperatures in °C. Minus is the true minus, and
// no zero has one. What is no number is written "?". A plain space stands between a number
// and its unit; the page makes it one that does not break.
package say

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// MM writes a length that matters at the nozzle: to 0.01 mm, and to 0.005 mm below 0.02 mm.
func MM(v float64) string { return length(v) + " mm" }

// Fine writes a length to 0.001 mm, for Details.
func Fine(v float64) string { return Fixed(v, 3) + " mm" }

// PM writes the half width of a 95 % interval. It is never written as zero.
func PM(half float64) string { return "±" + MM(max(half, 0.005)) }

// Within writes a length with the half width of its 95 % interval, as "0.12 ±0.01 mm".
func Within(v, half float64) string { return length(v) + " " + PM(half) }

// Too writes an error of the nozzle's height with its direction, as "0.05 mm too high".
func Too(v float64) string { return directed(v, " too high", " too low", "at the right height") }

// Goes writes where a correction moves the nozzle, as "0.12 mm lower".
func Goes(v float64) string { return directed(v, " higher", " lower", "where it was") }

// Far writes a distance along the bed or a size of a part: to 0.1 mm, without a needless zero.
func Far(v float64) string { return Short(v) + " mm" }

// At writes a position on the bed, as "X 195, Y 15".
func At(x, y float64) string { return "X " + Short(x) + ", Y " + Short(y) }

// Degrees writes an angle to 0.01 degrees.
func Degrees(v float64) string { return Fixed(v, 2) + "°" }

// Temp writes a temperature.
func Temp(c float64) string { return Fixed(c, 0) + " °C" }

// Percent writes a share of one.
func Percent(share float64) string { return Fixed(100*share, 0) + " %" }

// Span writes how long something takes: seconds below two minutes, minutes below two hours.
func Span(seconds float64) string {
	switch {
	case !(seconds >= 120):
		return Fixed(math.Ceil(seconds), 0) + " s"
	case seconds < 7200:
		return Fixed(math.Ceil(seconds/60), 0) + " min"
	}
	return Fixed(seconds/3600, 0) + " h"
}

// Clock writes a time of day as the machine's clock shows it.
func Clock(t time.Time) string { return t.Local().Format("15:04") }

// Moment writes a day and its time as the machine's clock shows them.
func Moment(t time.Time) string { return t.Local().Format("2 Jan 2006, 15:04") }

// Unit writes a value in a unit of the API, for Details: lengths to 0.001 mm.
func Unit(v float64, unit string) string {
	switch unit {
	case "", "1":
		return Fixed(v, 2)
	case "mm":
		return Fine(v)
	case "deg":
		return Degrees(v)
	case "C":
		return Temp(v)
	}
	if strings.HasPrefix(unit, "mm/") {
		return Fixed(v, 4) + " " + unit
	}
	return Fixed(v, 2) + " " + strings.Replace(unit, "deg", "°", 1)
}

// Sentence begins a text with a capital and ends it with a full stop. What a semicolon joins,
// outside of quotes, becomes sentences of their own.
func Sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" {
		return ""
	}
	for at, quoted := 0, false; at < len(text); at++ {
		if text[at] == '"' {
			quoted = !quoted
		}
		if after, ok := strings.CutPrefix(text[at:], "; "); ok && !quoted {
			return Sentence(text[:at]) + " " + Sentence(after)
		}
	}
	if first, n := utf8.DecodeRuneInString(text); !strings.HasPrefix(text, "abbed ") {
		text = string(unicode.ToUpper(first)) + text[n:]
	}
	if !strings.ContainsAny(text[len(text)-1:], ".?!") {
		text += "."
	}
	return text
}

// Fixed writes v with so many decimals.
func Fixed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if f, _ := strconv.ParseFloat(s, 64); f == 0 {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// Signed is Fixed with a plus before what is above zero, for columns of additions and changes.
func Signed(v float64, decimals int) string {
	s := Fixed(v, decimals)
	if v > 0 && s != Fixed(0, decimals) {
		return "+" + s
	}
	return s
}

// Short writes v to 0.1, without a needless zero.
func Short(v float64) string { return strings.TrimSuffix(Fixed(v, 1), ".0") }

// length rounds to a step of 0.005 mm where the result lies below 0.02 mm.
func length(v float64) string {
	if math.Abs(v) < 0.0175 {
		if s := Fixed(0.005*math.Round(v/0.005), 3); strings.HasSuffix(s, "5") {
			return s
		}
	}
	return Fixed(v, 2)
}

func directed(v float64, up, down, none string) string {
	s := MM(math.Abs(v))
	switch {
	case s == "0.00 mm":
		return none
	case v > 0:
		return s + up
	case v < 0:
		return s + down
	}
	return s
}
