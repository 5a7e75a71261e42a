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
	desc *prometheus.Desc
	kind prometheus.ValueType
}

func gauge(name, help string, labels ...string) family {
	return family{prometheus.NewDesc("abbed_"+name, help, labels, nil), prometheus.GaugeValue}
}

func counter(name, help string) family {
	return family{prometheus.NewDesc("abbed_"+name, help, nil, nil), prometheus.CounterValue}
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

// base gives the factor from the unit of a measured value to its base unit.
var base = map[string]float64{
	"mm": 1e-3, "um": 1e-6, "m": 1,
	"mm/min": 1e-3 / 60, "um/min": 1e-6 / 60, "mm/s": 1e-3,
	"1": 1, "": 1, "%": 1e-2,
	"deg": math.Pi / 180, "rad": 1,
}
