package analysis_test

import (
	"math"
	"math/rand/v2"

	"abbed/probe/record"
)

// machine is a printer seen from its bed: what the probe and the nozzle find,
// by the formulas of design/2, with nothing of the package under test.
type machine struct {
	gap     func(u, v float64) float64 // true gap error, up to a constant
	bed     func(u, v float64) float64 // what the nozzle touches
	drift   func(t float64) float64
	trigger func(t float64) float64 // by which the probe alone reads higher
	scatter float64                 // of the probe
	gauge   float64                 // of the person
	step    float64                 // of the reports
	play    [2]float64
	level   float64
	// local is by how much the probe alone reads higher at a place; nil: nowhere.
	local func(p record.Place) float64
	// carriage is an error of the head in pass p at u, for wandering.
	carriage func(pass int, u float64) float64
	flats    flats
	creep    float64 // by which each gauging comes out higher than the last, mm
	outlier  float64 // share of touches that are off by 0.25 mm
	broad    bool    // they are off by anything up to 0.3 mm
	lever    record.Lever
	layout   record.Layout
}

// flats are dips every period mm along the way of a wheel that slips: its phase
// walks by slip mm in every 100 mm of travel, standard deviation, and goes by creep.
type flats struct{ depth, width, period, slip, creep float64 }

func flat(u, v float64) float64 { return 0 }

func good() machine {
	return machine{gap: flat, bed: flat, scatter: 0.005, gauge: 0.010, step: 0.001, lever: record.Lever{Y: 45}, layout: record.MovingBed}
}

// plan is where a run measures.
type plan struct {
	reach, area record.Rect
	zero        record.Place
	places      []record.Place // of gauging, one record each in this order
	cols, rows  int
	columns     []float64 // of the survey, where they are not at equal distances
	repeat      bool
	survey      bool
}

func grid(r record.Rect, cols, rows int) []record.Place {
	var out []record.Place
	for j := range rows {
		for i := range cols {
			v := r.Middle().V
			if rows > 1 {
				v = r.Y0 + r.H()*float64(j)/float64(rows-1)
			}
			out = append(out, record.Place{U: r.X0 + r.W()*float64(i)/float64(cols-1), V: v})
		}
	}
	return out
}

func times(n int, places []record.Place) []record.Place {
	var out []record.Place
	for _, p := range places {
		for range n {
			out = append(out, p)
		}
	}
	return out
}

// standard is a 235 mm bed with twelve gaugings: the zero place twice, the left
// and right edge in three rows, two columns between in two.
func standard() plan {
	reach := record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}
	zero := record.Place{U: 117.5, V: 132.5}
	places := append([]record.Place{zero}, grid(reach, 2, 3)...)
	places = append(places, grid(record.Rect{X0: 68.75, X1: 166.25, Y0: 50, Y1: 215}, 2, 2)...)
	return plan{reach: reach, area: reach, zero: zero,
		places: append(places, zero), cols: 25, rows: 7, repeat: true, survey: true}
}

// twenty has two records each at ten places: the zero place, the left and right
// edge in three rows, and two columns between.
func twenty() plan {
	p := standard()
	ends := append(grid(record.Rect{X0: 20, X1: 215, Y0: 50, Y1: 132.5}, 2, 2), record.Place{U: 20, V: 215}, record.Place{U: 215, V: 215})
	inner := []record.Place{{U: 68.75, V: 215}, {U: 166.25, V: 50}, {U: 166.25, V: 215}}
	p.places = times(2, append(append([]record.Place{p.zero}, ends...), inner...))
	return p
}

// taker makes the touches of a run.
type taker struct {
	machine
	run record.Run
	rng *rand.Rand
	t   float64
	// phase of the flats, and where the wheel stood last.
	phase, stood float64
}

func (k *taker) touch(p record.Place, side record.Side, s record.Series, pass, index, spot int) {
	k.t += 4
	z := k.probe(p, side)
	if k.local != nil {
		z += k.local(p)
	}
	if k.carriage != nil && s == record.SeriesRow {
		z += k.carriage(pass, p.U)
	}
	if f := k.machine.flats; f.depth > 0 {
		travelled := math.Abs(p.U-k.stood) + 20
		k.phase += f.slip*math.Sqrt(travelled/100)*k.rng.NormFloat64() + f.creep*travelled/100
		k.stood = p.U
		d := math.Remainder(p.U-k.phase, f.period)
		z -= f.depth * math.Exp(-d*d/(2*f.width*f.width))
	}
	if k.rng.Float64() < k.outlier {
		size := 0.25
		if k.broad {
			size = 0.3 * k.rng.Float64()
		}
		z += math.Copysign(size, k.rng.Float64()-0.5)
	}
	if k.step > 0 {
		z = math.Round(z/k.step) * k.step
	}
	k.run.Last++
	k.run.Touches = append(k.run.Touches, record.Touch{N: k.run.Last, T: k.t, Place: p, Z: z, Side: side, Series: s, Pass: pass, Index: index, Spot: spot})
}

func (k *taker) moved() float64 {
	if k.drift == nil {
		return 0
	}
	return k.drift(k.t)
}

func (k *taker) triggers() float64 {
	if k.trigger == nil {
		return 0
	}
	return k.trigger(k.t)
}

func (k *taker) probe(p record.Place, side record.Side) float64 {
	return k.bed(p.U, p.V) + k.gap(p.U, p.V) + k.level + k.moved() + k.triggers() -
		k.play[0]*float64(side.X)/2 - k.play[1]*float64(side.Y)/2 + k.scatter*k.rng.NormFloat64()
}

func (k *taker) began(s record.Step) {
	if k.run.Step != "" {
		k.run.Finished = append(k.run.Finished, k.run.Step)
	}
	k.run.Step = s
	k.run.Steps = append(k.run.Steps, s)
}

// newTaker has the run's setup and the stored map, and nothing touched.
func newTaker(m machine, p plan, seed uint64) *taker {
	k := &taker{machine: m, rng: rand.New(rand.NewPCG(seed, 7))}
	if f := m.flats; f.depth > 0 {
		k.phase = p.zero.U + f.period*(0.35+0.3*k.rng.Float64()) // no dip at the middle to begin with
	}
	area := p.area
	k.run = record.Run{Version: record.Version, ID: "sim", Setup: record.Setup{
		Printer: record.Identity{ID: "c0ffee"}, Lever: m.lever, Trigger: 2, TriggerKnown: true,
		Bed: record.Rect{X1: 235, Y1: 235}, MapArea: &area, Zero: p.zero, Reach: p.reach, Clearance: 5,
		ReportStep: m.step, Layout: m.layout, Criteria: record.DefaultCriteria()}}
	k.storedMap(area, 5, 5)
	return k
}

// done ends the run.
func (k *taker) done() record.Run {
	k.run.Finished = append(k.run.Finished, k.run.Step)
	k.run.Ended = &record.Ended{State: record.EndDone}
	return k.run
}

// simulate makes a whole run as probe makes it, on a machine of known truth.
func simulate(m machine, p plan, seed uint64) record.Run {
	k := newTaker(m, p, seed)
	mid := p.zero
	if p.repeat {
		k.began(record.StepRepeat)
		k.repeatTest(mid)
	}
	if len(p.places) > 0 {
		k.began(record.StepGauging)
		k.gauging(p.places)
	}
	if p.survey {
		k.began(record.StepSurvey)
		k.surveying(p, mid)
	}
	return k.done()
}

func (k *taker) storedMap(area record.Rect, cols, rows int) {
	k.run.Map = &record.Map{}
	for j := range rows {
		var row []int64
		for i := range cols {
			p := record.NodePlace(area, cols, rows, i, j)
			row = append(row, int64(math.Round(1000*k.probe(p, record.Side{}))))
		}
		k.run.Map.Nodes = append(k.run.Map.Nodes, row)
	}
}

func (k *taker) repeatTest(mid record.Place) {
	sides := []record.Side{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: -1, Y: 1}, {X: 1, Y: 1}}
	for i := range 24 {
		k.touch(mid, sides[i%4], record.SeriesRepeat, 0, i, -1)
	}
	for pass := range 3 {
		for i := range 41 {
			p := record.Place{U: mid.U - 60 + 3*float64(i), V: mid.V}
			k.touch(p, record.Side{X: -1, Y: -1}, record.SeriesRow, pass, i, -1)
		}
		k.t += 10
	}
}

func (k *taker) gauging(places []record.Place) {
	visits, spots := map[record.Place]int{}, map[record.Place]int{}
	for _, p := range places {
		k.gaugeOnce(p, visits, spots)
	}
}

// gaugeOnce makes one record at p between its paired touches.
func (k *taker) gaugeOnce(p record.Place, visits, spots map[record.Place]int) {
	if _, there := spots[p]; !there {
		spots[p] = len(spots)
	}
	spot, visit := spots[p], visits[p]
	visits[p]++
	for i := range 2 {
		k.touch(p, record.Side{}, record.SeriesPair, visit, i, spot)
	}
	k.t += 60
	k.run.Last++
	z := k.bed(p.U, p.V) + k.moved() + 0.1 + k.machine.gauge*k.rng.NormFloat64() + k.machine.creep*float64(len(k.run.Gaugings))
	k.run.Gaugings = append(k.run.Gaugings, record.Gauging{N: k.run.Last, T: k.t, Spot: spot, Visit: visit, Place: p, Z: math.Round(z*1000) / 1000, Blade: 0.1})
	for i := range 2 {
		k.touch(p, record.Side{}, record.SeriesPair, visit+1, i, spot)
	}
}

func (k *taker) surveying(p plan, base record.Place) {
	cells := grid(p.reach, p.cols, p.rows)
	for i := range cells {
		if p.columns != nil {
			cells[i].U = p.columns[i%p.cols]
		}
	}
	for j := range p.rows {
		row := cells[j*p.cols : (j+1)*p.cols]
		for i := range row {
			at, side := row[i], record.Side{X: -1}
			if j%2 == 1 {
				at, side = row[len(row)-1-i], record.Side{X: 1}
			}
			k.touch(at, side, record.SeriesSurvey, j, j*p.cols+i, -1)
		}
		k.touch(base, record.Side{}, record.SeriesBase, j, j, -1)
	}
}

// trueGap is the contrast against the zero place.
func (m machine) trueGap(p, zero record.Place) float64 {
	return m.gap(p.U, p.V) - m.gap(zero.U, zero.V)
}

// Shapes of gap error on x, y in [-1, 1] over the reach.
func shaped(f func(x, y float64) float64) func(u, v float64) float64 {
	return func(u, v float64) float64 { return f((u-117.5)/97.5, (v-132.5)/82.5) }
}

// roughAt is a rough bed: a height of its own in each cell of 2 mm, linear between, of the
// standard deviation size.
func roughAt(seed uint64, u, v, size float64) float64 {
	at := func(i, j int) float64 {
		return rand.New(rand.NewPCG(seed, uint64(i+1000)*65536+uint64(j+1000))).NormFloat64()
	}
	x, y := u/2, v/2
	i, j := int(math.Floor(x)), int(math.Floor(y))
	fx, fy := x-float64(i), y-float64(j)
	return 1.5 * size * ((1-fy)*((1-fx)*at(i, j)+fx*at(i+1, j)) + fy*((1-fx)*at(i, j+1)+fx*at(i+1, j+1)))
}
