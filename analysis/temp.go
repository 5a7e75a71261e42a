package analysis

import "abbed/probe/record"

type surface struct{}

func (surface) contrast(p, q record.Place) (float64, float64) { return 0, 0 }

type steadiness struct{ Stability }

func steady(run record.Run) steadiness { return steadiness{} }

func touchDoubt(run record.Run) float64 { return 0.005 }

func judge(run record.Run) Verdict {
	return Verdict{Findings: []Finding{{ID: Undetermined, Sentence: "Not built yet."}}, GapWhy: &Reason{Code: "no-gauging"}}
}

func (v Verdict) table(run record.Run) (Table, *Refusal) {
	return Table{}, &Refusal{Code: NoGauging, Text: "not built yet"}
}
