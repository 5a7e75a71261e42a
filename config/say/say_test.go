package say_test

import (
	"math"
	"testing"
	"time"

	"abbed/config/say"
)

// The forms are those of the house's guide to plain words; no source outside is known.
func TestForms(t *testing.T) {
	at := time.Date(2026, 3, 4, 5, 6, 0, 0, time.Local)
	for _, c := range []struct{ got, want string }{
		{say.MM(0.1234), "0.12 mm"}, {say.MM(-0.05), "−0.05 mm"}, {say.MM(-0.0001), "0.00 mm"},
		{say.MM(0.0049), "0.005 mm"}, {say.MM(0.0124), "0.01 mm"}, {say.MM(0.0126), "0.015 mm"},
		{say.MM(0.0174), "0.015 mm"}, {say.MM(0.0176), "0.02 mm"}, {say.MM(0.0199), "0.02 mm"},
		{say.MM(math.NaN()), "? mm"}, {say.Fine(0.01234), "0.012 mm"}, {say.Fine(-0.0004), "0.000 mm"},
		{say.PM(0.0001), "±0.005 mm"}, {say.PM(0.012), "±0.01 mm"}, {say.PM(math.Inf(1)), "±? mm"},
		{say.Within(-0.12, 0.013), "−0.12 ±0.015 mm"},
		{say.Too(0.05), "0.05 mm too high"}, {say.Too(-0.05), "0.05 mm too low"}, {say.Too(0.001), "at the right height"},
		{say.Goes(0.12), "0.12 mm higher"}, {say.Goes(-0.12), "0.12 mm lower"}, {say.Goes(0), "where it was"},
		{say.At(195, 15), "X 195, Y 15"}, {say.At(-3.25, 0.04), "X −3.2, Y 0"}, {say.Far(0), "0 mm"}, {say.Far(80), "80 mm"},
		{say.Degrees(-0.004), "0.00°"}, {say.Degrees(1.5), "1.50°"},
		{say.Signed(0.05, 2), "+0.05"}, {say.Signed(0.001, 2), "0.00"}, {say.Signed(-0.05, 2), "−0.05"},
		{say.Temp(60), "60 °C"}, {say.Percent(0.125), "12 %"},
		{say.Span(40.2), "41 s"}, {say.Span(600), "10 min"}, {say.Span(10800), "3 h"},
		{say.Sentence(" skip this point"), "Skip this point."}, {say.Sentence("Why?"), "Why?"}, {say.Sentence(`no "a; b"; read it; is it right?`), `No "a; b". Read it. Is it right?`}, {say.Sentence(""), ""},
		{say.Clock(at), "05:06"}, {say.Moment(at), "4 Mar 2026, 05:06"},
		{say.Unit(0.0123, "mm"), "0.012 mm"}, {say.Unit(-0.5, "deg"), "−0.50°"}, {say.Unit(1.25, "deg/m"), "1.25 °/m"}, {say.Unit(0.5, "1"), "0.50"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}
