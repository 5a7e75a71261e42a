package webtest

import (
	"time"

	"abbed/daemon/api"
	"abbed/probe/record"
)

func degrees(v, u float64) *api.Measured {
	return &api.Measured{Value: v, U: u, Lo95: v - 2.2*u, Hi95: v + 2.2*u, Unit: "deg/m", DoF: 11.0}
}

// past is a printer whose beam was realigned between the second and the third run.
func past() api.History {
	h := api.History{Printer: "5be1", Sentence: "Last changed with the run of 18 Nov 2026, 09:30. The twist of the beam: changed."}
	before := ""
	for i, twist := range []float64{1.21, 1.26, 0.34, 0.29} {
		e := api.Entry{Run: []string{"r3", "r2", "r0", "r1"}[i], Began: began.Add(time.Duration(7*(i-3)) * 24 * time.Hour), Lever: api.XY{X: -42, Y: -9},
			Twist: degrees(twist, 0.05), Scatter: mm(0.0042, 0.0004), Level: mm(0.041, 0.005), Largest: mm(0.12*twist, 0.006),
			Nozzle: ptr(24.6), Bed: ptr(59.8), Finding: "beam-twist", Why: "the first"}
		if i > 0 {
			was := []float64{1.21, 1.26, 0.34, 0.29}[i-1]
			against := before
			e.Why, e.Against = "", &against
			e.Change = &api.Change{What: "twist", Says: "the twist of the beam", Before: *degrees(was, 0.05), After: *degrees(twist, 0.05), By: *degrees(twist-was, 0.07),
				Beyond: i == 2, Sentence: "The twist of the beam: as the numbers say."}
		}
		before = e.Run
		h.Runs = append(h.Runs, e)
	}
	return h
}

// compared is what changed between the second and the third of them.
func compared() api.Comparison {
	p := api.PlaceChange{Place: record.Place{U: 190, V: 117.5}, Before: 0.113, U95Before: 0.012, After: 0.031, U95After: 0.011, By: -0.082, U95: 0.016}
	return api.Comparison{Before: "r2", After: "r0", Sentence: "The twist of the beam: changed, from 1.26 ±0.11 °/m to 0.34 ±0.11 °/m: by −0.92 ±0.15 °/m.",
		Changes: []api.Change{
			{What: "twist", Says: "the twist of the beam", Before: *degrees(1.26, 0.05), After: *degrees(0.34, 0.05), By: *degrees(-0.92, 0.07), Beyond: true, Sentence: "The twist of the beam: changed."},
			{What: "scatter", Says: "the scatter of the probe", Before: *mm(0.0042, 0.0004), After: *mm(0.0045, 0.0004), By: api.Measured{Value: 1.07, U: 0.2, Lo95: 0.7, Hi95: 1.6, DoF: 20.0}, Ratio: true, Sentence: "The scatter of the probe: no change is seen."},
		},
		Not:           []string{"The level of the Z offset cannot be compared: the zero point is not gauged in both runs."},
		Most:          &p,
		LargestBefore: &api.PlaceGap{Place: record.Place{U: 190, V: 20}, Gap: 0.118, U95: 0.014}, LargestAfter: &api.PlaceGap{Place: record.Place{U: 190, V: 20}, Gap: 0.033, U95: 0.013},
		Gone: []string{"beam-twist"}, Stay: []string{}, Come: []string{"undetermined"},
		Heat: &api.HeatChange{NozzleBefore: 22, NozzleAfter: 150, BedBefore: 21, BedAfter: 60, NozzleBy: 128, BedBy: 39, Apart: true, Text: "Bed 21 °C, then 60 °C. Nozzle 22 °C, then 150 °C."},
	}
}

// levers are two levers, one of which cannot be told.
func levers() api.Levers {
	here := api.Lever{Lever: api.XY{X: -42, Y: -9}, Largest: &api.PlaceGap{Place: record.Place{U: 190, V: 20}, Gap: 0.139, U95: 0.012}, Covers: &api.Rect{X0: 20, Y0: 20, X1: 190, Y1: 190}}
	near := api.Lever{Lever: api.XY{X: -8, Y: -2}, Largest: &api.PlaceGap{Place: record.Place{U: 190, V: 20}, Gap: 0.026, U95: 0.003}, Note: "So near to the nozzle no probe finds room: its body needs about 15 mm beside it."}
	half := api.Lever{Lever: api.XY{X: -21, Y: -4.5}, Largest: &api.PlaceGap{Place: record.Place{U: 190, V: 20}, Gap: 0.069, U95: 0.006}}
	return api.Levers{Now: here, Best: &half, Longest: ptr(8.5), Sentence: "With the probe where it is, the nozzle error is up to 0.14 ±0.01 mm.",
		Least:  15,
		Levers: []api.Lever{half, near, {Lever: api.XY{Y: 40}, Refused: api.Errorf(0, "lever-off-line", "read the roll at the head (step angles), or gauge once the probe is there", "a probe there also feels the roll of the head, not seen in this run")}}}
}
