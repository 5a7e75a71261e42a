// Package picture draws what a run saw and what follows from it, as SVG made on
// the server: shapes and layout are our own.
//
// The nouns, in the order in which data passes: points become a Field, a
// Field, a Profile, Dots, a Timeline or a Plan is drawn on a canvas, and comes
// out as template.HTML.
//
// # Units
//
// mm in, and mm said (s on the axis of a Timeline); the drawing itself is 360
// units wide, which on a phone is a pixel each.
//
// # Colours
//
// A height goes from dark to light, a signed value from blue over pale to
// orange. Both are even to the eye and made in a perceptual space (K. Moreland,
// "Diverging Color Maps for Scientific Visualization", ISVC 2009, by gonum's
// palette/moreland); lightness alone carries the heights, and blue and orange
// stay apart for eyes that do not tell red from green. They are cut into bands,
// so that equal heights show as lines and no seams can show.
//
// # Text
//
// Every text is escaped. Nothing is styled within: colours of lines and letters
// come from the page's own sheet, so a strict content policy lets it through.
// The alternative text holds the main numbers.
package picture
