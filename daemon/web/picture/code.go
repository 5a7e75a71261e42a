package picture

import (
	"fmt"
	"html/template"
	"strings"

	"rsc.io/qr"
)

// Code draws a text for a camera (ISO/IEC 18004), with the quiet zone of four
// modules; dark on light whatever the page's colours are.
func Code(text, alt string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", fmt.Errorf("picture: a code of %d letters: %w", len(text), err)
	}
	const quiet = 4
	n := code.Size + 2*quiet
	var d strings.Builder
	for y := range code.Size {
		for x := range code.Size {
			if code.Black(x, y) {
				fmt.Fprintf(&d, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	return template.HTML(fmt.Sprintf(`<svg class="picture code" viewBox="0 0 %d %d" role="img" aria-label="%s"><rect width="%d" height="%d" class="light"/><path shape-rendering="crispEdges" class="dark" d="%s"/></svg>`, n, n, esc(alt), n, n, d.String())), nil //nolint:gosec // the text is escaped
}
