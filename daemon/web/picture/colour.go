package picture

import (
	"fmt"
	"image/color"
	"math"
	"sync"

	"gonum.org/v1/plot/palette"
	"gonum.org/v1/plot/palette/moreland"
)

// bands is how many colours a picture has: few enough that each band's edge is
// a contour, and that the drawing stays small.
const bands = 15

// shades are colours from the least to the most.
type shades [bands]string

// heights goes from dark to light through blue and green: lightness alone tells
// the order, in print as well.
var heights = sync.OnceValue(func() shades {
	m, err := moreland.NewLuminance([]color.Color{
		color.RGBA{0x16, 0x1b, 0x3d, 0xff}, color.RGBA{0x1f, 0x4e, 0x79, 0xff}, color.RGBA{0x2e, 0x8b, 0x86, 0xff},
		color.RGBA{0x9c, 0xc2, 0x72, 0xff}, color.RGBA{0xff, 0xf3, 0xc4, 0xff},
	})
	if err != nil {
		panic(err) // the colours stand right above
	}
	return cut(m)
})

// signs goes from blue (digs in) over pale (right) to orange (too high).
var signs = sync.OnceValue(func() shades {
	return cut(moreland.NewSmoothDiverging(color.RGBA{0x30, 0x5a, 0x8c, 0xff}, color.RGBA{0x9c, 0x52, 0x1e, 0xff}, 93))
})

func cut(m palette.ColorMap) shades {
	m.SetMin(0)
	m.SetMax(1)
	var s shades
	for i := range s {
		c, err := m.At(float64(i) / (bands - 1))
		if err != nil {
			panic(err) // 0..1 is what was set
		}
		r, g, b, _ := c.RGBA()
		s[i] = fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
	}
	return s
}

// band returns the band of v on lo..hi, -1 if v is not a number.
func bandOf(v, lo, hi float64) int {
	if math.IsNaN(v) || !(hi > lo) {
		return -1
	}
	return min(max(int(math.Floor((v-lo)/(hi-lo)*bands)), 0), bands-1)
}
