package proof_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"abbed/analysis/proof"
	"abbed/probe/record"
)

// pairs are the patches of a print as the product lays them out: two beside each other at
// each of nine places that Choose picks from five columns and rows.
func pairs(c proof.Case) (out []record.Place) {
	offered := []record.Place{{U: 117.5, V: 117.5}}
	for k := range 25 {
		if p := (record.Place{U: 24 + 187*float64(k%5)/4, V: 13 + 209*float64(k/5)/4}); k != 12 {
			offered = append(offered, p)
		}
	}
	for _, i := range proof.Choose(c, offered, proof.Places) {
		p := offered[i]
		out = append(out, record.Place{U: p.U - 11, V: p.V}, record.Place{U: p.U + 11, V: p.V})
		if i == 0 {
			out[0], out[1] = p, record.Place{U: p.U + 22, V: p.V}
		}
	}
	return out
}

// height is that of (x, y, 0) after a turn about Y by b and then about X by a: the third
// row of Rx(a) Ry(b), right-handed.
func height(a, b, x, y float64) float64 { return math.Sin(a)*y - math.Cos(a)*math.Sin(b)*x }

// change is how a machine is other than when the correction was made: errors of the head
// along X and of the bed along Y, rad and mm, and of the plate.
type change struct {
	roll, pitch, lift, yRoll, yPitch func(x float64) float64
	plate                            func(u, v float64) float64
}

// left is the nozzle error that it leaves, lever 45 mm to the front and 6 to the right.
func (m change) left(u, v float64) float64 {
	const px, py, mid = 6.0, -45.0, 117.5
	under := func(y float64) float64 { return height(m.yRoll(y), m.yPitch(y), u-mid, v-mid) }
	x, y := u-px, v-py
	touch := under(y) - m.lift(x) - height(m.roll(x), m.pitch(x), px, py)
	return touch - (under(v) - m.lift(u)) + m.plate(u, v)
}

// kinds of changes, each of the size 1 by any measure; drawn anew for each print.
var kinds = map[string]func(r *rand.Rand, m *change){
	"tilted": func(r *rand.Rand, m *change) {
		k := r.NormFloat64()
		m.roll = func(x float64) float64 { return 1e-5 * (x - 117.5) }
		m.plate = func(u, v float64) float64 { return 3e-4 * k * (v - 117.5) }
	},
	"bent": func(r *rand.Rand, m *change) {
		a, b := r.NormFloat64(), r.NormFloat64()
		m.roll = func(x float64) float64 { t := (x - 117.5) / 105; return 1e-3 * (a*t*t + b*t*t*t) }
	},
	"wavy along X": func(r *rand.Rand, m *change) {
		l, f := 130+200*r.Float64(), 6*r.Float64()
		m.roll = func(x float64) float64 { return 1e-3 * math.Sin(2*math.Pi*x/l+f) }
	},
	"wavy plate": func(r *rand.Rand, m *change) {
		l, f, a := 180+250*r.Float64(), 6*r.Float64(), math.Pi*r.Float64()
		m.plate = func(u, v float64) float64 { return 0.03 * math.Sin(2*math.Pi*(u*math.Cos(a)+v*math.Sin(a))/l+f) }
	},
	"rolling Y axis": func(r *rand.Rand, m *change) {
		k := 0.5 * r.NormFloat64()
		m.yRoll = func(y float64) float64 { t := (y - 117.5) / 105; return 1e-3 * (t + k*t*t) }
	},
	"pitching Y axis": func(r *rand.Rand, m *change) {
		k := r.NormFloat64()
		m.yPitch = func(y float64) float64 { t := (y - 117.5) / 105; return 1e-3 * (t + k*t*t) }
	},
	"one corner": func(r *rand.Rand, m *change) {
		sx, sy, w := math.Copysign(1, r.Float64()-0.5), math.Copysign(1, r.Float64()-0.5), 50+60*r.Float64()
		m.plate = func(u, v float64) float64 {
			return 0.03 * math.Exp(-(math.Pow(u-117.5-104.5*sx, 2)+math.Pow(v-117.5-104.5*sy, 2))/2/w/w)
		}
	},
	"one edge": func(r *rand.Rand, m *change) {
		at, w := 209*r.Float64(), 45+60*r.Float64()
		m.plate = func(u, v float64) float64 { return 0.03 * math.Exp(-(math.Pow(u-222, 2)+math.Pow(v-13-at, 2))/2/w/w) }
	},
	"any place": func(r *rand.Rand, m *change) {
		x, y, w := 13+209*r.Float64(), 13+209*r.Float64(), 45+60*r.Float64()
		m.plate = func(u, v float64) float64 { return 0.03 * math.Exp(-(math.Pow(u-x, 2)+math.Pow(v-y, 2))/2/w/w) }
	},
}

// drawn is a change of a kind that leaves size, mm, where it leaves most on the area.
func drawn(r *rand.Rand, kind func(r *rand.Rand, m *change), size float64) func(u, v float64) float64 {
	no := func(float64) float64 { return 0 }
	for {
		m := change{no, no, no, no, no, func(u, v float64) float64 { return 0 }}
		kind(r, &m)
		against := func(u, v float64) float64 { return m.left(u, v) - m.left(117.5, 117.5) }
		most := 0.0
		for k := range 441 {
			most = math.Max(most, math.Abs(against(area.X0+area.W()*float64(k%21)/20, area.Y0+area.H()*float64(k/21)/20)))
		}
		if most < 1e-3 {
			continue
		}
		k := math.Copysign(size/most, r.Float64()-0.5) // angles of a milliradian: exactly as large
		return func(u, v float64) float64 { return k * against(u, v) }
	}
}

// TestVerification: wrong is what leaves more than the tolerance anywhere on the area, up
// to three times as much, right what leaves half of it at most. The plastic scatters by 5
// to 20 um from patch to patch, a micrometer by 4, and all patches are thicker than the
// layer. Where the nozzle is more than 0.1 mm too high, half of the patches have gaps.
//
//	go test ./analysis/proof -run TestVerification -v -prints 300
func TestVerification(t *testing.T) {
	c := corrected()
	at := pairs(c)
	c.Planned = at
	var right, wrong, called float64
	all := float64(*prints * len(kinds))
	for name, kind := range kinds {
		rng := rand.New(rand.NewPCG(23, uint64(len(name))))
		read := func(lo, hi float64) proof.Verdict {
			left, scatter, offset := drawn(rng, kind, c.Tolerance*(lo+(hi-lo)*rng.Float64())), 0.005+0.015*rng.Float64(), 0.08*rng.Float64()
			var rs []proof.Reading
			for _, p := range at {
				r := proof.Reading{U: p.U, V: p.V, MM: 0.2 + offset + left(p.U, p.V) + scatter*rng.NormFloat64() + 0.004*rng.NormFloat64()}
				if left(p.U, p.V)+offset > 0.1 && rng.Float64() < 0.5 {
					r.Gaps, r.MM = true, 0
				}
				rs = append(rs, r)
			}
			r, err := proof.Judge(rs, c)
			if err != nil {
				t.Fatal(err)
			}
			plain(t, r)
			return r.Verdict
		}
		var n, m, just, says float64
		for range *prints {
			if read(0, 0.5) == proof.Verified {
				n++
			}
			switch read(1, 3) {
			case proof.Verified:
				m++
			case proof.Wrong:
				says++
			}
			if read(1, 1.25) == proof.Verified {
				just++
			}
		}
		right, wrong, called = right+n/all, wrong+m/all, called+says/all
		k := float64(*prints)
		t.Logf("%-16s right ones verified %.3f; wrong ones verified %.3f, called wrong %.3f; of those less than a quarter beyond verified %.3f", name, n/k, m/k, says/k, just/k)
		if spread := 3 * math.Sqrt(0.02*0.98/k); n/k < 0.8-3*math.Sqrt(0.16/k) || m/k > 0.02+spread {
			t.Errorf("%s: too few right ones or too many wrong ones are verified", name)
		}
	}
	t.Logf("all: right ones verified %.3f, wrong ones %.3f, called wrong %.3f", right, wrong, called)
	if few := 2.5 / math.Sqrt(all); right < 0.8-0.4*few || wrong > 0.02+0.14*few || called < 0.6-0.5*few { // binomial
		t.Error("the limits do not hold")
	}
}
