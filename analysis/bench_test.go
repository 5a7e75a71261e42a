package analysis_test

import (
	"testing"

	"abbed/analysis"
)

// BenchmarkJudge holds the whole analysis to the aim: 2,000 touches in 20 ms,
// 20,000 in 250 ms on one core. cpu-ms/op is the processor's time, which a loaded
// machine does not lengthen much (where the system tells it).
func BenchmarkJudge(b *testing.B) {
	for _, c := range []struct {
		name       string
		cols, rows int
	}{{"175", 25, 7}, {"2000", 74, 25}, {"20000", 199, 100}} {
		p := standard()
		p.cols, p.rows = c.cols, c.rows
		m := good()
		m.gap = shaped(func(x, y float64) float64 { return 0.15*x + 0.05*x*x })
		run := simulate(m, p, 1)
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			before := cpu()
			for b.Loop() {
				analysis.Judge(run)
			}
			if used := cpu() - before; used > 0 {
				b.ReportMetric(1000*used/float64(b.N), "cpu-ms/op")
			}
		})
	}
}
