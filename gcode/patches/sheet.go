package patches

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"sync"
)

//go:embed sheet.html
var sheetText string

var sheet = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("sheet").Funcs(template.FuncMap{
		"one": func(v float64) string { return fmt.Sprintf("%.1f", v) },
	}).Parse(sheetText))
})

// Paper is a format of paper.
type Paper string

// Papers.
const (
	A4     Paper = "A4"
	Letter Paper = "letter"
)

// drawn is a patch as the plan of the bed shows it: y grows downwards there.
type drawn struct {
	Patch
	X, Y, Size, TabY, TabW, TabH float64
}

type sheetView struct {
	Print
	Paper    Paper
	W, H     float64
	Drawn    []drawn
	Cautions []string
	Letters  float64 // height of letters in the plan, mm
}

// Half is half a patch's side, mm; so are the lengths below.
func (v sheetView) Half() float64 { return v.Settings.Size / 2 }

// Base is from a patch's back edge to its number's base line.
func (v sheetView) Base() float64 { return v.Settings.Size * 0.72 }

// Mid is half the bed's width.
func (v sheetView) Mid() float64 { return v.W / 2 }

// Below is from the bed's front edge to the base line of the word under it.
func (v sheetView) Below() float64 { return v.Letters * 1.1 }

// Sheet writes a worksheet as one page of HTML that asks nothing of any server:
// the plan of the bed as seen from above with the front below, and a place to
// write for a reading of each patch, and for a second one where it is asked for.
func (p Print) Sheet(w io.Writer, paper Paper) error {
	if paper != A4 && paper != Letter {
		return fmt.Errorf("patches: paper %q: A4 or letter", paper)
	}
	v := sheetView{Print: p, Paper: paper, W: p.Bed.X1 - p.Bed.X0, H: p.Bed.Y1 - p.Bed.Y0, Cautions: Cautions(), Letters: p.Settings.Size * 0.6}
	tab := p.shape.w * float64(p.shape.tabs)
	for _, q := range p.Patches {
		x, y, s := q.U-p.Settings.Size/2-p.Bed.X0, p.Bed.Y1-q.V-p.Settings.Size/2, p.Settings.Size
		v.Drawn = append(v.Drawn, drawn{q, x, y, s, y + s, p.shape.tab, tab})
	}
	if err := sheet().Execute(w, v); err != nil {
		return fmt.Errorf("patches: write the worksheet: %w", err)
	}
	return nil
}
