package result

import (
	"encoding/json"
	"math"

	"abbed/analysis/fit"
	"abbed/config/say"
)

// Measured is a value with its doubt.
//
// U is the standard uncertainty, DoF its degrees of freedom (+Inf where it is
// known beforehand), Lo95 and Hi95 the ends of the 95 % interval
// Value -+ k U with k from Student's t (JCGM 100:2008, G.3). Value, U, Lo95 and
// Hi95 are always finite. As JSON an infinite DoF is null.
type Measured struct {
	Value float64 `json:"value"`
	U     float64 `json:"u" about:"standard uncertainty"`
	Lo95  float64 `json:"lo95" about:"lower end of the 95 % interval"`
	Hi95  float64 `json:"hi95" about:"upper end"`
	Unit  string  `json:"unit"`
	DoF   float64 `json:"dof" null:"infinite"`
}

// Of returns the value with its symmetric 95 % interval.
func Of(value, u, dof float64, unit string) Measured {
	if !(dof > 0) {
		dof = 1
	}
	h := fit.T95(dof) * u
	return Measured{Value: value, U: u, Lo95: value - h, Hi95: value + h, Unit: unit, DoF: dof}
}

// Deviation returns a standard deviation with its interval, that of the
// chi-square law: s sqrt(n/chi2) with n degrees of freedom; u = s/sqrt(2 n).
func Deviation(s, dof float64, unit string) Measured {
	if !(dof >= 1) {
		dof = 1
	}
	lo, hi := fit.DeviationBounds(s, dof)
	return Measured{Value: s, U: s / math.Sqrt(2*dof), Lo95: lo, Hi95: hi, Unit: unit, DoF: dof}
}

// U95 returns the half width of the 95 % interval.
func (m Measured) U95() float64 { return (m.Hi95 - m.Lo95) / 2 }

// Apart reports whether the 95 % interval leaves out zero.
func (m Measured) Apart() bool { return m.Lo95 > 0 || m.Hi95 < 0 }

// String gives the value with its half width, as in "0.042 mm ±0.006 mm".
func (m Measured) String() string {
	return say.Unit(m.Value, m.Unit) + " ±" + say.Unit(m.U95(), m.Unit)
}

// noted is Measured without its own way to be written.
type noted Measured

// MarshalJSON writes the value with lower-case names and an infinite DoF as null.
func (m Measured) MarshalJSON() ([]byte, error) {
	j := struct {
		noted
		DoF *float64 `json:"dof"`
	}{noted: noted(m)}
	if !math.IsInf(m.DoF, 0) {
		j.DoF = &m.DoF
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (m *Measured) UnmarshalJSON(b []byte) error {
	n := noted{DoF: math.Inf(1)} // null leaves it
	err := json.Unmarshal(b, &n)
	*m = Measured(n)
	return err
}

// Times returns the value in another unit.
func (m Measured) Times(k float64, unit string) Measured {
	lo, hi := k*m.Lo95, k*m.Hi95
	return Measured{Value: k * m.Value, U: math.Abs(k) * m.U, Lo95: min(lo, hi), Hi95: max(lo, hi), Unit: unit, DoF: m.DoF}
}

// Z95 is the two-sided 95 % point of the normal law.
const Z95 = 1.959963984540054
