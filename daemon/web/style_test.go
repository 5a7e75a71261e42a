package web_test

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
)

// palette reads the colours of one block of custom properties.
func palette(block string) map[string]string {
	out := map[string]string{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(block, -1) {
		out[m[1]] = m[2]
	}
	return out
}

// luminance is the relative luminance of WCAG 2.2.
func luminance(hex string) float64 {
	var c [3]int
	_, _ = fmt.Sscanf(hex, "#%02x%02x%02x", &c[0], &c[1], &c[2])
	y := 0.0
	for i, w := range []float64{0.2126, 0.7152, 0.0722} {
		v := float64(c[i]) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		y += w * v
	}
	return y
}

// contrast is the contrast ratio of WCAG 2.2 (1.4.6 asks for 7).
func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// Every text has a contrast of 7:1 or better, in light and in dark.
func TestContrast(t *testing.T) {
	css, err := os.ReadFile("page/static/abbed.css")
	if err != nil {
		t.Fatal(err)
	}
	light, rest, ok := strings.Cut(string(css), "@media (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("no dark colours")
	}
	dark, _, _ := strings.Cut(rest, "}\n}")
	for name, c := range map[string]map[string]string{"light": palette(light), "dark": palette(dark)} {
		for _, pair := range [][2]string{
			{"ink", "paper"}, {"ink", "card"}, {"soft", "paper"}, {"soft", "card"}, {"deep", "card"}, {"deep", "paper"}, {"on-deep", "deep"},
			{"ink", "bad-bg"}, {"soft", "bad-bg"}, {"deep", "bad-bg"}, {"ink", "warn-bg"}, {"soft", "warn-bg"}, {"warn", "warn-bg"},
		} {
			if r := contrast(c[pair[0]], c[pair[1]]); !(r >= 7) {
				t.Errorf("%s: %s on %s: %.2f", name, pair[0], pair[1], r)
			}
		}
		if r := contrast("#ffffff", c["stop"]); !(r >= 7) {
			t.Errorf("%s: the stop button: %.2f", name, r)
		}
	}
}

// The check itself: black on white is 21, and #767676 on white the well-known
// 4.54 (WCAG 2.2, understanding 1.4.3).
func TestContrastOfKnownPairs(t *testing.T) {
	if r := contrast("#000000", "#ffffff"); math.Abs(r-21) > 1e-9 {
		t.Errorf("%.3f", r)
	}
	if r := contrast("#767676", "#ffffff"); math.Abs(r-4.54) > 0.005 {
		t.Errorf("%.3f", r)
	}
}
