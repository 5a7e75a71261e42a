package metrics

import (
	"math"

	"github.com/prometheus/client_golang/prometheus"

	"abbed/daemon/api"
)

// sink takes samples.
type sink struct{ ch chan<- prometheus.Metric }

// family is a metric with its help and the names of its labels.
type family struct {
	name string
	desc *prometheus.Desc
	kind prometheus.ValueType
}

// every lists the families in the order in which they were made; a test holds
// the documented table to it.
var every []family

func gauge(name, help string, labels ...string) family {
	return made(name, help, prometheus.GaugeValue, labels)
}

func counter(name, help string, labels ...string) family {
	return made(name, help, prometheus.CounterValue, labels)
}

func made(name, help string, kind prometheus.ValueType, labels []string) family {
	name = "abbed_" + name
	f := family{name, prometheus.NewDesc(name, help, labels, nil), kind}
	every = append(every, f)
	return f
}

// put sends one sample; one that is not finite is not sent.
func (s sink) put(f family, v float64, labels ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	s.ch <- prometheus.MustNewConstMetric(f.desc, f.kind, v, labels...)
}

// flag sends 1 or 0.
func (s sink) flag(f family, on bool, labels ...string) {
	v := 0.0
	if on {
		v = 1
	}
	s.put(f, v, labels...)
}

// oneOf sends 1 for the word that is, and 0 for all others: a series that fell
// to 0 says more than one that is gone, and there are never more than words.
func oneOf[T ~string](s sink, f family, is T, words []T) {
	for _, w := range words {
		s.flag(f, w == is, string(w))
	}
}

// measured sends a measured value in base units; nil, and a unit that is not
// known here, are not sent.
func (s sink) measured(f family, m *api.Measured, labels ...string) {
	if m == nil {
		return
	}
	if scale, ok := base[m.Unit]; ok {
		s.put(f, m.Value*scale, labels...)
	}
}

// doubted sends a measured value and the half width of its 95 % interval.
func (s sink) doubted(f, half family, m *api.Measured) {
	s.measured(f, m)
	if m != nil {
		s.measured(half, &api.Measured{Value: (m.Hi95 - m.Lo95) / 2, Unit: m.Unit})
	}
}

// base gives the factor from the unit of a measured value to its base unit.
var base = map[string]float64{
	"mm": 1e-3, "um": 1e-6, "m": 1,
	"mm/min": 1e-3 / 60, "um/min": 1e-6 / 60, "mm/s": 1e-3,
	"1": 1, "": 1, "%": 1e-2,
	"deg": math.Pi / 180, "rad": 1, "rad/mm": 1e3,
}
