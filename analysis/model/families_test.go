package model_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"abbed/analysis/model"
	"abbed/probe/record"
)

var (
	drawn = flag.Int("families", 4, "machines drawn of each family; 40 for the figures")
	proto = flag.Bool("families.prototype", false, "with the prior of the prototype")
	match = flag.String("families.of", "", "families whose name holds this")
	only  = flag.String("families.plan", "", "one plan: 12, 20 or 27 readings")
)

// world is a machine and its bed, by formulas of the design, with nothing of the package
// under test.
type world struct {
	gap, bed func(u, v float64) float64
	lever    record.Lever
	layout   record.Layout
}

var (
	reach = record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}
	zero  = record.Place{U: 117.5, V: 132.5}
)

func lattice(r record.Rect, n, m int) []record.Place {
	var out []record.Place
	for j := range m {
		for i := range n {
			out = append(out, record.Place{U: r.X0 + r.W()*float64(i)/float64(n-1), V: r.Y0 + r.H()*float64(j)/float64(m-1)})
		}
	}
	return out
}

func placesFor(plan string) []record.Place {
	switch plan {
	case "12":
		out := append([]record.Place{zero}, lattice(reach, 2, 3)...)
		return append(append(out, lattice(record.Rect{X0: 68.75, X1: 166.25, Y0: 50, Y1: 215}, 2, 2)...), zero)
	case "20":
		ends := append(lattice(record.Rect{X0: 20, X1: 215, Y0: 50, Y1: 132.5}, 2, 2), record.Place{U: 20, V: 215}, record.Place{U: 215, V: 215}, record.Place{U: 68.75, V: 215}, record.Place{U: 166.25, V: 50}, record.Place{U: 166.25, V: 215})
		var out []record.Place
		for _, p := range append([]record.Place{zero}, ends...) {
			out = append(out, p, p)
		}
		return out
	}
	out := []record.Place{zero}
	for _, u := range []float64{68.75, 20, 166.25, 215} {
		out = append(out, record.Place{U: u, V: zero.V})
	}
	for _, u := range []float64{20, 215} {
		for _, v := range []float64{91.25, 50, 173.75, 215} {
			out = append(out, record.Place{U: u, V: v})
		}
	}
	return append(append(slices.Clone(out), out...), zero)
}

func machineOf(w world) model.Machine {
	bed := record.Rect{X1: 235, Y1: 235}
	t := reach
	l := w.lever
	t.X0, t.X1 = min(t.X0, t.X0-l.X), max(t.X1, t.X1-l.X)
	t.Y0, t.Y1 = min(t.Y0, t.Y0-l.Y), max(t.Y1, t.Y1-l.Y)
	return model.Machine{Lever: l, Layout: w.layout, Bed: bed, Travel: t}
}

// tally is what many machines come to.
type tally struct {
	rms     []float64
	in, all int
	width   float64
	low     int
}

func (t *tally) add(w world, plan string, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 4711))
	m := machineOf(w)
	var d model.Data
	const scatter = 0.005
	survey := lattice(reach, 25, 7)
	d.Survey(len(survey), func(i int) (model.Row, float64) {
		p := survey[i]
		return m.Map(p), w.bed(p.U, p.V) + w.gap(p.U, p.V) + scatter*rng.NormFloat64()
	})
	mean := 0.0
	ps := placesFor(plan)
	for _, p := range ps {
		y := w.gap(p.U, p.V) + 0.010*rng.NormFloat64() + scatter/2*rng.NormFloat64()
		d.Readings = append(d.Readings, model.Reading{Row: m.Gap(p), Y: y, U: scatter / 2, Hand: true})
		mean += y / float64(len(ps))
	}
	for i := range d.Readings {
		d.Readings[i].Y -= mean
	}
	sd := d.Weight(scatter, reach.W()*reach.H())
	prior := model.Usual(m, 0.010)
	if *proto {
		prior = prototype()
		prior.Leave, prior.Drop = 8, 0.005
		d2 := model.Data{Readings: d.Readings}
		rng = rand.New(rand.NewPCG(seed, 4711))
		d2.Survey(len(survey), func(i int) (model.Row, float64) {
			p := survey[i]
			return m.Laid(p).Plus(m.Surface(p)), w.bed(p.U, p.V) + w.gap(p.U, p.V) + scatter*rng.NormFloat64()
		})
		d = d2
		sd = d.Weight(scatter, reach.W()*reach.H())
	}
	p, ok := d.Fit(m, prior, sd)
	if !ok {
		panic("no fit")
	}
	ss, in, all := 0.0, 0, 0
	z := m.Gap(zero)
	for _, q := range lattice(reach, 7, 7) {
		g, v := p.At(m.Gap(q).Minus(z))
		e := g - (w.gap(q.U, q.V) - w.gap(zero.U, zero.V))
		ss += e * e
		u := 1.96 * math.Sqrt(v)
		if math.Abs(e) <= u {
			in++
		}
		all++
		t.width += 1000 * u
	}
	t.rms = append(t.rms, 1000*math.Sqrt(ss/float64(all)))
	t.in, t.all = t.in+in, t.all+all
	if float64(in) < 0.9*float64(all) {
		t.low++
	}
}

func quantile(x []float64, q int) float64 {
	x = slices.Clone(x)
	slices.Sort(x)
	return x[min(len(x)*q/100, len(x)-1)]
}

type family struct {
	name string
	held bool // a shape that the members have
	draw func(r *rand.Rand) world
}

func shaped(f func(x, y float64) float64) func(u, v float64) float64 {
	return func(u, v float64) float64 { return f((u-117.5)/97.5, (v-132.5)/82.5) }
}

func single(name string, f func(r *rand.Rand) (gap, bed func(x, y float64) float64)) family {
	held := !strings.Contains(name, "hidden") && !strings.HasPrefix(name, "small") && name != "end" && name != "wave Y" && name != "t2s"
	return family{name, held, func(r *rand.Rand) world {
		g, b := f(r)
		if b == nil {
			b = func(x, y float64) float64 { return 0 }
		}
		return world{gap: shaped(g), bed: shaped(b), lever: record.Lever{Y: 45}, layout: record.MovingBed}
	}}
}

func families() []family {
	about := func(r *rand.Rand, x float64) float64 {
		return x * (0.6 + 0.8*r.Float64()) * math.Copysign(1, r.Float64()-0.5)
	}
	out := []family{
		single("none", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			return func(x, y float64) float64 { return 0 }, nil
		}),
		single("wedge", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a := about(r, 0.15)
			return func(x, y float64) float64 { return a * x }, nil
		}),
		single("small wedge", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a := about(r, 0.015)
			return func(x, y float64) float64 { return a * x }, nil
		}),
		single("wedge on a dish", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, d := about(r, 0.15), about(r, 0.2)
			return func(x, y float64) float64 { return a * x }, func(x, y float64) float64 { return d * (x*x + y*y) }
		}),
		single("bow", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.08), about(r, 0.1)
			return func(x, y float64) float64 { return a*x + c*x*x }, nil
		}),
		single("bow hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.08), about(r, 0.12)
			return func(x, y float64) float64 { return a*x + c*x*x }, func(x, y float64) float64 { return -c * x * x }
		}),
		single("bow half", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.08), about(r, 0.1)
			return func(x, y float64) float64 { return a*x + c*x*x }, func(x, y float64) float64 { return c*x*x + 0.05*y*y }
		}),
		single("small bow hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.08), about(r, 0.018)
			return func(x, y float64) float64 { return a*x + c*x*x }, func(x, y float64) float64 { return -c * x * x }
		}),
		single("cubic", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c, e := about(r, 0.1), about(r, 0.05), about(r, 0.08)
			return func(x, y float64) float64 { return a*x + c*x*x + e*x*x*x }, nil
		}),
		single("small cubic", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c, e := about(r, 0.1), about(r, 0.02), about(r, 0.025)
			return func(x, y float64) float64 { return a*x + c*x*x + e*x*x*x }, nil
		}),
		single("small S hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c, e := about(r, 0.1), about(r, 0.02), about(r, 0.025)
			return func(x, y float64) float64 { return a*x + c*x*x + e*x*x*x }, func(x, y float64) float64 { return -c*x*x - e*x*x*x }
		}),
		single("S hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, e := about(r, 0.1), about(r, 0.08)
			return func(x, y float64) float64 { return a*x + e*x*x*x }, func(x, y float64) float64 { return -a*x - e*x*x*x }
		}),
		single("wave", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c, k := about(r, 0.1), about(r, 0.05), 3.3+1.4*r.Float64()
			return func(x, y float64) float64 { return a*x + c*math.Sin(k*x) }, nil
		}),
		single("wave hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c, k := about(r, 0.1), about(r, 0.05), 3.3+1.4*r.Float64()
			return func(x, y float64) float64 { return a*x + c*math.Sin(k*x) }, func(x, y float64) float64 { return -c * math.Sin(k*x) }
		}),
		single("end", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			c, k := about(r, 0.2), 0.3+0.3*r.Float64()
			return func(x, y float64) float64 { return c * math.Max(x-k, 0) }, nil
		}),
		single("end hidden", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			c, k := about(r, 0.2), 0.3+0.3*r.Float64()
			return func(x, y float64) float64 { return c * math.Max(x-k, 0) }, func(x, y float64) float64 { return -c * math.Max(x-k, 0) }
		}),
		single("ts", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.06)
			return func(x, y float64) float64 { return a*x + c*x*y }, nil
		}),
		single("s", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.06)
			return func(x, y float64) float64 { return a*x + c*y }, nil
		}),
		single("bow Y", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.06)
			return func(x, y float64) float64 { return a*x + c*y*y }, nil
		}),
		single("small bow Y", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.02)
			return func(x, y float64) float64 { return a*x + c*y*y }, nil
		}),
		single("wave Y", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.05)
			return func(x, y float64) float64 { return a*x + c*math.Sin(4*y) }, nil
		}),
		single("t2s", func(r *rand.Rand) (g, b func(x, y float64) float64) {
			a, c := about(r, 0.1), about(r, 0.06)
			return func(x, y float64) float64 { return a*x + c*x*x*y }, nil
		}),
		{"R any", false, func(r *rand.Rand) world { return anyOf(r) }},
		{"R polynomials", false, func(r *rand.Rand) world { return smooth(r, polynomial) }},
		{"R squared exponential", false, func(r *rand.Rand) world { return smooth(r, gaussian) }},
		{"R localised", false, func(r *rand.Rand) world { return smooth(r, local) }},
	}
	return out
}

// motion is a function of x along its axis, of about size at its ends.
type drawer func(r *rand.Rand, share, size float64, straight bool) func(x float64) float64

func polynomial(r *rand.Rand, share, size float64, straight bool) func(float64) float64 {
	a := []float64{0, size * r.NormFloat64(), size * r.NormFloat64(), 0.4 * size * r.NormFloat64(), 0.4 * size * r.NormFloat64()}
	a[0] = 0
	if straight {
		a[1] = 0
		a[3] *= 1.5
	}
	a[2] *= 0.5
	if r.Float64() > share {
		return func(float64) float64 { return 0 }
	}
	return func(x float64) float64 {
		t, s := (x-117.5)/117.5, 0.0
		for i := len(a) - 1; i >= 0; i-- {
			s = s*t + a[i]
		}
		return s
	}
}

func gaussian(r *rand.Rand, share, size float64, straight bool) func(float64) float64 {
	length := 60 + 100*r.Float64()
	var c, k, p [40]float64
	for i := range c {
		c[i], k[i], p[i] = r.NormFloat64(), r.NormFloat64()/length, 2*math.Pi*r.Float64()
	}
	if r.Float64() > share {
		return func(float64) float64 { return 0 }
	}
	return func(x float64) float64 {
		s := 0.0
		for i := range c {
			s += c[i] * math.Cos(k[i]*x+p[i])
		}
		return size * 0.7 * s * math.Sqrt(2.0/40)
	}
}

func local(r *rand.Rand, share, size float64, straight bool) func(float64) float64 {
	at, w, a, b := 40+150*r.Float64(), 15+40*r.Float64(), r.NormFloat64(), r.NormFloat64()
	if straight {
		b = 0
	}
	if r.Float64() > share {
		return func(float64) float64 { return 0 }
	}
	return func(x float64) float64 { return size * (b*(x-117.5)/117.5 + a*math.Tanh((x-at)/w)) }
}

func anyOf(r *rand.Rand) world {
	const c, half = 117.5, 117.5
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	either := func(lo, hi float64) float64 { return math.Copysign(within(lo, hi), r.Float64()-0.5) }
	motion := func(share, size float64, form ...float64) func(float64) float64 {
		a := make([]float64, len(form))
		for i, f := range form {
			a[i] = size * f * r.NormFloat64()
		}
		if r.Float64() > share {
			return func(float64) float64 { return 0 }
		}
		return func(x float64) float64 {
			t, sum := (x-c)/half, 0.0
			for i := len(a) - 1; i >= 0; i-- {
				sum = sum*t + a[i]
			}
			return sum
		}
	}
	w := world{layout: record.MovingBed}
	if r.Float64() < 0.5 {
		w.layout = record.MovingGantry
	}
	switch p := r.Float64(); {
	case p < 0.35:
		w.lever.Y = either(15, 50)
	case p < 0.6:
		w.lever.X = either(15, 50)
	default:
		w.lever = record.Lever{X: either(10, 45), Y: either(10, 45)}
	}
	return w.with(r, motion(0.8, 0.25*deg, 1, 1, 0.4, 0.4), motion(0.4, 0.15*deg, 1, 1, 0.4, 0.3), motion(0.4, 0.06, 0, 0, 1, 0.6),
		motion(0.25, 0.08*deg, 1, 1, 0.5), motion(0.25, 0.08*deg, 1, 1, 0.5), motion(0.3, 0.05, 0, 0, 1, 0.6))
}

func smooth(r *rand.Rand, draw drawer) world {
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	either := func(lo, hi float64) float64 { return math.Copysign(within(lo, hi), r.Float64()-0.5) }
	w := world{layout: record.MovingBed}
	if r.Float64() < 0.5 {
		w.layout = record.MovingGantry
	}
	switch p := r.Float64(); {
	case p < 0.4:
		w.lever.Y = either(18, 55)
	case p < 0.6:
		w.lever.X = either(18, 55)
	default:
		w.lever = record.Lever{X: either(10, 45), Y: either(10, 45)}
	}
	eax, ebx, ezx := draw(r, 0.85, 0.22*deg, false), draw(r, 0.5, 0.12*deg, false), draw(r, 0.5, 0.05, true)
	ezy, eay, eby := draw(r, 0.4, 0.04, true), draw(r, 0.4, 0.08*deg, false), draw(r, 0.4, 0.08*deg, false)
	return w.with(r, eax, ebx, ezx, eay, eby, ezy)
}

func (w world) with(r *rand.Rand, eax, ebx, ezx, eay, eby, ezy func(float64) float64) world {
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	px, py := w.lever.X, w.lever.Y
	w.gap = func(u, v float64) float64 {
		roll := eax(u - px)
		if w.layout == record.MovingGantry {
			roll += eay(v - py)
		}
		g := ezx(u) - ezx(u-px) - (py*roll - px*ebx(u-px))
		if w.layout == record.MovingGantry {
			return g + ezy(v) - ezy(v-py) + (u-117.5)*(eby(v-py)-eby(v))
		}
		return g + ezy(v-py) - ezy(v) + (v-117.5)*(eay(v-py)-eay(v)) - (u-117.5)*(eby(v-py)-eby(v))
	}
	a, b := within(0, 0.2), within(0, 0.15)
	la, lb, pa, pb := within(40, 120), within(40, 120), within(0, 6), within(0, 6)
	w.bed = func(u, v float64) float64 {
		y := ezy(v) + (v-117.5)*eay(v) - (u-117.5)*eby(v)
		if w.layout == record.MovingGantry {
			y = -ezy(v) + (u-117.5)*eby(v)
		}
		return y + a*math.Sin(u/la+pa) + b*math.Sin(v/lb+pb) + 0.3*b*math.Sin((u+v)/70) - ezx(u)
	}
	return w
}

// TestFamilies prints how the usual prior does on machines of several families, of which
// its numbers were chosen: single shapes of random size, shown or hidden by the map, and
// machines with all six motions (polynomials, squared-exponential, localised bends).
// The seeds are none of those of the tests that show the figures of the product. It holds
// what is far off: pooled coverage, and shapes that the members have.
func TestFamilies(t *testing.T) {
	for _, plan := range []string{"12", "20", "27"} {
		if *only != "" && plan != *only {
			continue
		}
		var all tally
		for k, f := range families() {
			if !strings.Contains(f.name, *match) {
				continue
			}
			n := *drawn
			if f.name[0] == 'R' {
				n *= 4
			}
			var s tally
			for seed := range n {
				s.add(f.draw(rand.New(rand.NewPCG(uint64(seed), uint64(90000+k)))), plan, uint64(seed*100+k))
			}
			all.in, all.all = all.in+s.in, all.all+s.all
			coverage := float64(s.in) / float64(s.all)
			t.Logf("%s %-22s rms p50 %5.1f p95 %5.1f worst %5.1f um, coverage %.3f, below 0.90 %d of %d, u95 %5.1f um",
				plan, f.name, quantile(s.rms, 50), quantile(s.rms, 95), quantile(s.rms, 100), coverage, s.low, n, s.width/float64(s.all))
			if f.held && (coverage < 0.85 || quantile(s.rms, 50) > 9) {
				t.Errorf("%s readings, %s: coverage %.3f, rms p50 %.1f um", plan, f.name, coverage, quantile(s.rms, 50))
			}
		}
		if pooled := float64(all.in) / float64(max(all.all, 1)); pooled < 0.90 && *match == "" {
			t.Errorf("%s readings: coverage %.3f over all", plan, pooled)
		}
	}
}
