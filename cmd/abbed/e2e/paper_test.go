package e2e_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/analysis"
	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestPaper: a sheet of paper in place of the blade is kept in the record with its
// doubt; the level holds what all its gaugings share, the gap error does
// not: with the same records a blade's level is surer by that alone.
func TestPaper(t *testing.T) {
	measuredHouse(t, 8, 8, []string{"gauging"}, func(t *testing.T, m *measuredWorld) {
		var rec record.Run
		b, err := m.api.Record(t.Context(), m.run.ID)
		if err == nil {
			err = json.Unmarshal(b, &rec)
		}
		if err != nil || rec.Confirmed == nil || !rec.Confirmed.Paper {
			t.Fatalf("the record: %+v, %v", rec.Confirmed, err)
		}
		paper := analysis.Judge(rec)
		rec.Setup.Criteria.GaugeU = record.DefaultCriteria().GaugeU
		rest := analysis.Judge(rec) // the same, were the sheet as sure as a blade
		was, is := rest.Level.U, paper.Level.U
		if want := math.Sqrt(was*was - 0.003*0.003 + record.PaperU*record.PaperU); math.Abs(is-want) > 1e-9 {
			t.Errorf("level: u %.5f, want %.5f", is, want)
		}
		if paper.Gap == nil || rest.Gap == nil || paper.Gap.Largest() != rest.Gap.Largest() {
			t.Error("what all gaugings share is in the gap error, which compares places")
		}
	}, func(p *demo.Person) { p.Paper = true })
}

// TestConfirmFromTerminal: without cautions nothing moves, and they are read out;
// a wrong feeler is refused; named one by one the run begins, with paper.
func TestConfirmFromTerminal(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 8})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		var run api.Run
		if err := client.Patiently(t.Context(), func() (err error) { run, err = w.api.StartRun(t.Context(), "gauging"); return err }); err != nil {
			t.Fatal(err)
		}
		c := ask.ConfirmCommand()
		c.SetContext(t.Context())
		var said bytes.Buffer
		c.SetErr(&said)
		if err := ask.GiveWord(c, w.api, run.ID, api.Confirm{}); err == nil {
			t.Error("confirmed without a word")
		}
		for _, x := range run.Cautions {
			if !strings.Contains(said.String(), x.Text) {
				t.Errorf("%s was not read out", x.ID)
			}
		}
		how := api.Confirm{Person: "Ida", Gauge: new(float64)}
		for _, x := range run.Cautions {
			how.Cautions = append(how.Cautions, x.ID)
		}
		if err := ask.GiveWord(c, w.api, run.ID, how); err == nil || !strings.Contains(err.Error(), "bad-blade") {
			t.Errorf("nothing at all under the nozzle: %v", err)
		}
		how.Gauge, how.Paper = nil, true
		if err := ask.GiveWord(c, w.api, run.ID, how); err != nil {
			t.Fatal(err)
		}
		if r, err := w.api.Run(t.Context(), run.ID); err != nil || r.State == api.AwaitingConfirmation {
			t.Errorf("%s, %v", r.State, err)
		}
	})
}
