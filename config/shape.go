package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"abbed/probe/record"
)

// XY is a horizontal pair, mm.
type XY struct{ X, Y float64 }

// Rect is an upright rectangle, mm.
type Rect = record.Rect

// String gives the pair as the flags take it.
func (p XY) String() string { return number(p.X) + "," + number(p.Y) }

// number writes x without an exponent where people would.
func number(x float64) string {
	if a := math.Abs(x); a >= 1e-6 && a < 1e9 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// numbers reads n finite numbers with commas between them.
func numbers(text string, n int) ([]float64, error) {
	parts := strings.Split(text, ",")
	if len(parts) != n {
		return nil, fmt.Errorf("has %d numbers, needs %d with commas between them", len(parts), n)
	}
	out := make([]float64, n)
	for i, p := range parts {
		x, err := decimal(strings.TrimSpace(p))
		if err != nil {
			return nil, err
		}
		out[i] = x
	}
	return out, nil
}

// decimal reads a finite decimal number; no hexadecimal, no underscores.
func decimal(text string) (float64, error) {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(text, "xXpP_") {
		return 0, fmt.Errorf("%s is not a finite number", quote(text))
	}
	return x, nil
}

// quote shows a text as it was given, shortened.
func quote(text string) string {
	const most = 60
	if len(text) > most {
		text = text[:most] + "..."
	}
	return strconv.Quote(text)
}
