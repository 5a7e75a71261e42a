package results

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"abbed/analysis"
	"abbed/analysis/proof"
	"abbed/config"
	"abbed/config/outside"
	"abbed/daemon/api"
	"abbed/gcode/patches"
	"abbed/probe/record"
)

// What may be printed, mm (the project's design): leastGap is the gap under the nozzle, its
// doubt taken off, at which a patch still may, and tooLow by how much the nozzle may be too
// low where that is not known. flatTop is how thick a layer may be, in widths of its line
// (common practice, no source).
const (
	leastGap = 0.05
	tooLow   = 0.20
	flatTop  = 0.75
)

// thick makes a print thick enough for a nozzle whose error is not known. It is refused
// where lines of this width cannot be as thick.
func thick(p *patches.Print) error {
	p.Settings.Height = max(p.Settings.Height, tooLow+leastGap)
	if least := p.Settings.Height / flatTop; p.Settings.Width < least-1e-9 {
		return api.Errorf(409, "digs-in", fmt.Sprintf("Set proof.width to %.2f mm or more, with a nozzle for it; or gauge a few points, and no patch has to be as thick.", least),
			"make the proof print: while the nozzle error is not known the patches have to be %.2f mm thick, and lines %.2f mm wide cannot be", p.Settings.Height, p.Settings.Width)
	}
	return nil
}

// clear leaves out of a print without a correction in force the patches where the nozzle
// would come too near the bed; what is nearest is printed last. Where the nozzle error is
// not known all are thick enough. It is refused where too few are left to tell anything.
func clear(p *patches.Print, v analysis.Verdict) error {
	gap, all := v.Gap, len(p.Patches)
	if gap == nil && v.Has(analysis.Repair) {
		return digsIn("make the proof print: the head needs repair, and where the nozzle is too low is not known")
	}
	if gap == nil {
		return thick(p)
	}
	under := func(q patches.Patch) float64 {
		g, u95, _ := gap.Beyond(record.Place{U: q.U, V: q.V})
		return p.Settings.Height + g - u95
	}
	p.Patches = slices.DeleteFunc(slices.Clone(p.Patches), func(q patches.Patch) bool { return under(q) < leastGap })
	slices.SortStableFunc(p.Patches, func(a, b patches.Patch) int { return cmp.Compare(under(b), under(a)) })
	if left := len(p.Patches); left < all && (left < 6 || !slices.ContainsFunc(p.Patches, func(q patches.Patch) bool { return q.Zero })) {
		return digsIn(fmt.Sprintf("make the proof print: at %d of %d patches the nozzle would be within %.2f mm of the bed", all-left, all, leastGap))
	}
	return nil
}

func digsIn(text string) error {
	return api.Errorf(409, "digs-in", "Repair first, or apply a correction; a thicker first layer (setting layer) may do as well.", "%s", text)
}

// GaugedArea is where a run was gauged, or its reach: patches alone are planned over that,
// also when their readings come once more.
func GaugedArea(run record.Run, v analysis.Verdict) record.Rect {
	if v.Gap == nil || len(run.Gaugings) == 0 {
		return run.Setup.Reach
	}
	return v.Gap.Area
}

// Patches plans a proof print over what a run has gauged, or over the reach, by the owner's
// settings, where most is in doubt of what a correction may leave. What was read since of a
// print does not move them: the readings name them by number. A bed that is not known is an
// error; so is a start or end file that cannot be read.
func Patches(s config.Settings, run record.Run, v analysis.Verdict, levelling string) (patches.Print, error) {
	setup, area := run.Setup, GaugedArea(run, v)
	if setup.Bed.W() <= 0 || setup.Bed.H() <= 0 {
		return patches.Print{}, fmt.Errorf("the bed is not known: give --bed X0,Y0,X1,Y1")
	}
	travel := setup.Travel.Rect
	if travel.W() <= 0 || travel.H() <= 0 {
		travel = setup.Bed
	}
	if area.W() <= 0 || area.H() <= 0 {
		area = setup.Bed
	}
	o := patches.Defaults()
	o.Single = len(run.Gaugings) == 0
	o.Height, o.Width, o.Filament = s.Layer, s.Proof.Width, s.Proof.Filament
	o.Travel, o.Lift, o.Clearance, o.Retract = s.Feeds.Travel, s.Feeds.Z, s.Clearance, s.Proof.Retract
	o.Nozzle, o.Bed, o.NozzleMax, o.BedMax, o.Levelling = s.Proof.Nozzle, s.Proof.Bed, s.Heat.NozzleMax, s.Heat.BedMax, levelling
	for _, f := range []struct {
		name string
		into *[]byte
	}{{s.Proof.Start, &o.Start}, {s.Proof.End, &o.End}} {
		if f.name == "" {
			continue
		}
		b, err := outside.Read(f.name, 1<<20) // patches says how few are taken
		if err != nil {
			return patches.Print{}, fmt.Errorf("read your file: %w", err)
		}
		*f.into = append([]byte{}, b...)
	}
	if len(run.Readings) > 0 {
		run.Readings = nil
		v = analysis.Judge(run)
	}
	c := Case(run, v, true, patches.Print{})
	c.Area = area
	// Middles of patches up to the edge of the area, where that leaves whole ones.
	return patches.Plan(o, setup.Bed, travel, area, setup.Zero.U, setup.Zero.V, func(offered [][2]float64) []int {
		var at []record.Place
		for _, p := range offered {
			at = append(at, record.Place{U: p[0], V: p[1]})
		}
		if o.Single {
			return proof.Choose(c, at, 2*proof.Places)
		}
		return proof.Choose(c, at, proof.Places)
	})
}

// Printed turns a print into the API's words. Without a correction in force patches that
// would dig in are left out; one that is to be carried into the file must be put there.
func Printed(p patches.Print, v analysis.Verdict, inForce string) (api.ProofPrint, error) {
	if _, ok := api.Corrected(inForce); !ok {
		return api.ProofPrint{}, api.Errorf(422, "bad-value", "none, map or file", "proof print: \"in_force\" %q: which correction is in force while it is printed has to be said", inForce)
	}
	if inForce == "none" {
		if err := clear(&p, v); err != nil {
			return api.ProofPrint{}, err
		}
	}
	out := api.ProofPrint{InForce: inForce, Plan: p.Plan, Size: p.Settings.Size, Height: p.Settings.Height, Area: p.Area(), Cautions: patches.Cautions()}
	for _, q := range p.Patches {
		out.Patches = append(out.Patches, api.ProofPatch(q))
	}
	var file, a4, letter bytes.Buffer
	err := p.Write(&file)
	if err == nil {
		err = p.Sheet(&a4, patches.A4)
	}
	if err == nil {
		err = p.Sheet(&letter, patches.Letter)
	}
	out.File, out.A4, out.Letter = file.String(), a4.String(), letter.String()
	if inForce == "file" {
		const first = "Put the correction into this file before you print it (abbed correction carry). Without it the nozzle may dig in."
		out.Cautions, out.File = append([]string{first}, out.Cautions...), "; CAUTION: "+first+"\n"+out.File
	}
	return out, err
}

// Case is what the patches of a run are judged against; plan is what was to be printed,
// without patches where that is not known.
func Case(run record.Run, v analysis.Verdict, corrected bool, plan patches.Print) proof.Case {
	if v.Gap == nil && !corrected {
		_ = thick(&plan) // as it was printed, if it was
	}
	c := proof.Case{ZeroU: run.Setup.Zero.U, ZeroV: run.Setup.Zero.V, Tolerance: run.Setup.Criteria.Tolerance, Corrected: corrected,
		Area: GaugedArea(run, v), Layer: plan.Settings.Height}
	for _, q := range plan.Patches {
		c.Planned = append(c.Planned, record.Place{U: q.U, V: q.V})
	}
	if v.Gap != nil && (corrected || len(run.Gaugings) > 0) {
		c.Predicted = func(u, w float64) (float64, float64, bool) {
			g, u95, reason := v.Gap.At(record.Place{U: u, V: w})
			return g, u95, reason == nil && !math.IsNaN(g)
		}
		c.Between = v.Gap.Between
	}
	return c
}

// Numbered turns the numbers of patches into places. The plan has to be the one
// that the worksheet names.
func Numbered(p patches.Print, plan string, in []proof.Reading) ([]proof.Reading, error) {
	if !strings.EqualFold(strings.TrimSpace(plan), p.Plan) {
		return nil, api.Errorf(409, "other-plan", "the plan stands on the worksheet; if the settings were changed since, give u and v of each patch in place of its number", "thickness: the patches are numbered by plan %q, and today's plan is %s", plan, p.Plan)
	}
	for i, r := range in {
		if r.Patch == 0 {
			continue
		}
		q, ok := p.At(r.Patch)
		if !ok {
			return nil, api.Errorf(422, "bad-value", fmt.Sprintf("the plan has patches 1 to %d", len(p.Patches)), "thickness: there is no patch %d", r.Patch)
		}
		in[i].U, in[i].V = q.U, q.V
	}
	return in, nil
}

// Proved turns a result into the API's words.
func Proved(r proof.Result) api.Proof {
	out := api.Proof{Verdict: string(r.Verdict), Sentence: r.Sentence, Doubt: r.Doubt, Next: r.Next, Patches: []api.LeftOver{}, Gaps: []api.XY{}, Missing: []api.XY{}}
	if s := r.Share; s != nil {
		out.Share = &api.Measured{Value: s.Value, U: s.U95 / 2, Lo95: s.Value - s.U95, Hi95: s.Value + s.U95, DoF: math.Inf(1)}
	}
	if r.ScatterDoF > 0 {
		out.Scatter = &api.Measured{Value: r.Scatter, Unit: "mm", U: r.Scatter / math.Sqrt(2*r.ScatterDoF), DoF: r.ScatterDoF}
		out.Scatter.Lo95, out.Scatter.Hi95 = math.Max(0, r.Scatter-2*out.Scatter.U), r.Scatter+2*out.Scatter.U
	}
	for _, l := range r.Gaps {
		out.Gaps = append(out.Gaps, api.XY{X: l.U, Y: l.V})
	}
	for _, l := range r.Missing {
		out.Missing = append(out.Missing, api.XY{X: l.U, Y: l.V})
	}
	for _, l := range r.Left {
		out.Patches = append(out.Patches, api.LeftOver{U: l.U, V: l.V, Readings: l.N, Thickness: l.MM, Error: l.Error, U95: l.U95, Predicted: l.Predicted})
	}
	return out
}
