package patches

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
)

// Cautions stand in the file, on the worksheet and on the screen.
func Cautions() []string {
	return []string{
		"Stay, a hand at the power switch, until the last patch is done: where a correction is wrong the nozzle digs in.",
		"Nozzle and bed burn. The bed is clear and clean. The head moves freely.",
		"Look through this file before you print it: start and end lines do what they say. The printer maker's instructions come first.",
		"Print with the stored levelling on, as for any print. Let the bed cool before you peel. Number each patch on its upper side before it comes off.",
		"A patch reads the gap only where the nozzle has ironed it flat: if its lines lie apart or are round, write \"gaps\" and no number.",
	}
}

// Write writes the file. Lines keep to RS-274/NGC (at most 256 characters, one
// command a line) with the trade's E and `;`.
func (p Print) Write(w io.Writer) error {
	b := &bytes.Buffer{}
	p.header(b)
	p.begin(b)
	f := &pen{b: b, p: p}
	f.lift()
	f.prime()
	for _, q := range p.Patches {
		f.patch(q)
	}
	p.end(b)
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("patches: write: %w", err)
	}
	return nil
}

func (p Print) header(b *bytes.Buffer) {
	s := p.Settings
	fmt.Fprintf(b, "; abbed proof print, plan %s: %d single-layer patches of %g x %g mm with a tab at the left front\n", p.Plan, len(p.Patches), s.Size, s.Size)
	fmt.Fprintf(b, "; layer %g mm, lines %.4f mm wide, filament %g mm, each patch %.4f mm2\n", s.Height, p.shape.w, s.Filament, p.Area())
	for _, c := range Cautions() {
		for _, l := range wrapped("CAUTION: "+c, 100) {
			fmt.Fprintf(b, "; %s\n", l)
		}
	}
	for _, q := range p.Patches {
		zero := ""
		if q.Zero {
			zero = " (zero point)"
		}
		fmt.Fprintf(b, "; patch %d: x %.2f y %.2f%s\n", q.N, q.U, q.V, zero)
	}
}

// wrapped breaks a sentence at blanks.
func wrapped(s string, n int) (out []string) {
	at := ""
	for w := range strings.FieldsSeq(s) {
		if len(at)+len(w) >= n {
			out, at = append(out, at), ""
		}
		at = strings.TrimLeft(at+" "+w, " ")
	}
	return append(out, at)
}

// begin heats and homes, or lets the person's file do so; our modes come last.
func (p Print) begin(b *bytes.Buffer) {
	s := p.Settings
	heat := func(m, t float64) {
		if t > 0 {
			fmt.Fprintf(b, "M%g S%g\n", m, t)
		}
	}
	if s.Start != nil {
		owned(b, "start", s.Start)
	} else {
		b.WriteString("G21\nG90\n")
		heat(140, s.Bed)
		heat(190, s.Bed)
		b.WriteString("G28\n")
		if s.Levelling != "" {
			fmt.Fprintf(b, "%s ; the stored levelling\n", s.Levelling)
		}
		fmt.Fprintf(b, "G1 Z%s F%g\n", decimal(math.Max(s.Clearance, 10), 4), 60*s.Lift)
		heat(104, s.Nozzle)
		heat(109, s.Nozzle)
	}
	b.WriteString("G21 ; mm\nG90 ; places are absolute\nM82 ; and so is E\nG92 E0\n")
}

func (p Print) end(b *bytes.Buffer) {
	if p.Settings.End != nil {
		owned(b, "end", p.Settings.End)
		return
	}
	if p.Settings.Nozzle > 0 || p.Settings.Start != nil {
		b.WriteString("M104 S0\n")
	}
	if p.Settings.Bed > 0 || p.Settings.Start != nil {
		b.WriteString("M140 S0\n")
	}
	b.WriteString("; the head stays up where it is; the axes keep their motors on\n")
}
