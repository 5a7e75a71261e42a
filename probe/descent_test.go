package probe_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"abbed/probe"
)

// band is over how much of the way the gauge drags, from loose to tight, mm: a blade
// of spring steel under a nozzle (common practice, no source).
const band = 0.02

// descends plays the answers of a hand at a gauge that drags from height contact
// downwards; it returns the reading, the answers, and the lowest height below contact.
func descends(t *testing.T, d *probe.Descent, contact, scatter float64, rnd *rand.Rand) (z float64, answers int, under float64) {
	t.Helper()
	call := contact + scatter*rnd.NormFloat64()
	for answers = 1; answers < 100; answers++ {
		under = math.Max(under, call-band-d.Z())
		switch {
		case d.Z() > call:
			z, ok := d.Down()
			if !ok {
				return math.NaN(), answers, under
			}
			if z >= d.Z() {
				t.Fatalf("loose moves the nozzle from %.3f to %.3f", d.Z(), z)
			}
			d.Lowered(z)
		case d.Z() >= call-band && d.FromAbove():
			return d.Z(), answers, under
		default:
			d.Raised(d.Up())
		}
	}
	t.Fatal("no reading after a hundred answers")
	return
}

// Wherever the gauge drags within the doubt, a reading is reached from above, close to
// where it begins to drag, with few answers, and the nozzle goes little beyond it.
func TestDescent(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for name, c := range map[string]struct {
		sure           bool
		doubt, arrival float64
		most           float64 // answers on average
		under          float64 // deepest beyond the band
	}{
		"zero point":     {false, 0, 3.1, 11.5, 0.13},
		"second, 20 mm":  {false, 0.2, 0.45, 10, 0.11},
		"third, 60 mm":   {false, 0.18, 0.43, 9.5, 0.11},
		"the model says": {true, 0.012, 0.25, 4.8, 0.03},
		"known well":     {true, 0.006, 0.24, 4.8, 0.03},
		"little known":   {true, 0.04, 0.36, 6.5, 0.1},
	} {
		sum, n := 0, 0
		for k := range 400 {
			expected := rnd.Float64()*0.4 - 0.2
			off := (2*rnd.Float64() - 1) * math.Min(c.doubt, 0.3)
			if c.sure {
				off = rnd.NormFloat64() * c.doubt
			}
			if name == "zero point" {
				off = rnd.NormFloat64() * 0.1
			}
			d := probe.NewDescent(expected, c.doubt, c.sure, expected+c.arrival, expected-0.6)
			z, answers, under := descends(t, d, expected+off, 0.008, rnd)
			if math.IsNaN(z) {
				t.Fatalf("%s: no reading above the floor (%d)", name, k)
			}
			if math.Abs(z-expected-off) > 0.06 {
				t.Errorf("%s: a reading at %.3f, the gauge drags from %.3f on", name, z, expected+off)
			}
			if under > c.under {
				t.Errorf("%s: %.3f mm beyond the band, %.3f at most", name, under, c.under)
			}
			sum, n = sum+answers, n+1
		}
		mean := float64(sum) / float64(n)
		t.Logf("%-15s %.1f answers", name, mean)
		if mean > c.most {
			t.Errorf("%s: %.1f answers on average, %.1f at most", name, mean, c.most)
		}
	}
}

// A second reading at the same point takes an answer or two, and comes from above too;
// between, the nozzle goes up.
func TestSecondReading(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	sum, square := 0, 0.0
	const n = 400
	for range n {
		d := probe.NewDescent(0, 0.01, true, 0.24, -0.1)
		first, _, _ := descends(t, d, 0.004, 0.008, rnd)
		rough := d.Step() > 0.03
		over, z := d.Again()
		if over < first+0.049 || z <= first || z > first+0.01 && !rough || z > first+0.021 || !d.FromAbove() {
			t.Fatalf("after a reading at %.3f it goes up to %.3f and down to %.3f", first, over, z)
		}
		second, answers, _ := descends(t, d, 0.004, 0.008, rnd)
		sum += answers
		off := second + math.Min(d.Step(), 0.03)/2 - 0.004
		square += off * off
	}
	if mean := float64(sum) / n; mean > 2.2 {
		t.Errorf("%.1f answers for a second reading", mean)
	}
	if rms := math.Sqrt(square / n); rms > 0.0105 {
		t.Errorf("second readings are off by %.4f mm rms, with a hand of 0.008 mm", rms)
	}
}

// At the floor loose moves nothing, and no answer takes the nozzle below it.
func TestDescentFloor(t *testing.T) {
	d := probe.NewDescent(0, 0.3, false, 1, -0.0514)
	for k := 0; ; k++ {
		z, ok := d.Down()
		if z < -0.0514 {
			t.Fatalf("down to %.4f, below the floor", z)
		}
		if !ok {
			break
		}
		d.Lowered(z)
		if k > 60 {
			t.Fatal("the floor is never reached")
		}
	}
	if d.Z() > -0.049 {
		t.Errorf("it ends at %.4f, above the floor", d.Z())
	}
}
