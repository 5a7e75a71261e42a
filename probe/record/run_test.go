package record_test

import (
	"encoding/json"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"abbed/probe/record"
)

func opened() record.Event {
	return record.Event{N: 1, Opened: &record.Opened{Version: record.Version, ID: "a", Steps: []record.Step{record.StepRepeat}, Setup: record.Setup{Levelling: true}}}
}

func TestFold(t *testing.T) {
	r, err := record.Fold([]record.Event{
		opened(),
		{N: 2, T: 1, Began: &record.Began{Step: record.StepGauging}},
		{N: 3, T: 2, Switched: &record.Switched{What: record.SwitchLevelling, On: false}},
		{N: 4, T: 3, Touch: &record.Touch{Series: record.SeriesPair, Z: 0.1, Spot: 2}},
		{N: 5, T: 4, Gauging: &record.Gauging{Spot: 2, Z: 0.2}},
		{N: 6, T: 5, Forgot: &record.Forgot{Gauging: 5}},
		{N: 7, T: 6, Gauging: &record.Gauging{Spot: 2, Z: 0.3}},
		{N: 8, T: 7, Began: &record.Began{Step: record.StepSurvey}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Gaugings) != 1 || r.Gaugings[0].N != 7 || r.Gaugings[0].T != 6 {
		t.Errorf("gaugings %+v: want the second only", r.Gaugings)
	}
	if len(r.Off) != 1 || r.Off[0] != record.SwitchLevelling {
		t.Errorf("off %v: want the levelling", r.Off)
	}
	if !r.Did(record.StepGauging) || r.Did(record.StepSurvey) {
		t.Errorf("finished %v: want gauging only", r.Finished)
	}
	if ts := r.Of(record.SeriesPair); len(ts) != 1 || ts[0].N != 4 || ts[0].T != 3 {
		t.Errorf("pairs %+v: want one, numbered and timed by its event", ts)
	}
}

func TestAddRefuses(t *testing.T) {
	for name, events := range map[string][]record.Event{
		"nothing":        {},
		"no opening":     {{N: 1, Note: &record.Note{}}},
		"a gap":          {opened(), {N: 3, Note: &record.Note{}}},
		"two openings":   {opened(), {N: 2, Opened: &record.Opened{Version: 1}}},
		"no body":        {opened(), {N: 2}},
		"two bodies":     {opened(), {N: 2, Note: &record.Note{}, Touch: &record.Touch{}}},
		"future version": {{N: 1, Opened: &record.Opened{Version: record.Version + 1}}},
	} {
		if _, err := record.Fold(events); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := record.Fold([]record.Event{{N: 1, Opened: &record.Opened{Version: 99}}}); !errors.Is(err, record.ErrVersion) {
		t.Errorf("future version: %v, want ErrVersion", err)
	}
}

func TestEventRoundTrip(t *testing.T) {
	e := record.Event{N: 4, T: 3.5, Touch: &record.Touch{Place: record.Place{U: 1, V: 2}, Z: -0.012, Side: record.Side{X: -1}, Series: record.SeriesSurvey}}
	b, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	got, err := record.Decode(b)
	if err != nil || *got.Touch != *e.Touch {
		t.Errorf("got %+v, %v", got.Touch, err)
	}
	if _, err := record.Decode([]byte(`{"n":1}`)); err == nil {
		t.Error("no body: no error")
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(`{"n":1,"opened":{"version":1,"id":"a","steps":["repeat"]}}`))
	f.Add([]byte(`{"n":2,"touch":{"z":1e308}}`))
	f.Add([]byte(`{"n":3,"joined":{"run":"b","gaps":[{"event":4,"place":{"u":1,"v":2},"g":0.1,"u":0.01}]}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := record.Decode(b)
		if err != nil {
			return
		}
		var r record.Run
		_ = r.Add(e)
	})
}

// The lever's two conversions undo each other.
func TestLever(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(-400, 400)
		l := record.Lever{X: f.Draw(t, "lx"), Y: f.Draw(t, "ly")}
		p := record.Place{U: f.Draw(t, "u"), V: f.Draw(t, "v")}
		q := l.PlaceUnderProbe(l.NozzleFor(p))
		if math.Abs(q.U-p.U) > 1e-9 || math.Abs(q.V-p.V) > 1e-9 {
			t.Fatalf("%v came back as %v", p, q)
		}
	})
}

func TestNodePlace(t *testing.T) {
	a := record.Rect{X0: 10, Y0: 20, X1: 210, Y1: 120}
	if p := record.NodePlace(a, 5, 3, 4, 0); p != (record.Place{U: 210, V: 20}) {
		t.Errorf("node (4,0) at %v", p)
	}
	if p := record.NodePlace(a, 5, 3, 1, 1); p != (record.Place{U: 60, V: 70}) {
		t.Errorf("node (1,1) at %v", p)
	}
}

// The gaugings of another run are joined once, and make the record one of the version
// that knows them: a program that does not must not read it as if they were not there.
func TestJoined(t *testing.T) {
	first := opened()
	first.Opened.Version = 2
	joined := func(run string, g float64) *record.Joined {
		return &record.Joined{Run: run, Gaps: []record.GapReading{{Event: 9, Place: record.Place{U: 5}, G: g, U: 0.01}}}
	}
	events := []record.Event{first, {N: 2, Ended: &record.Ended{State: record.EndDone}}}
	r, err := record.Fold(events)
	if err != nil || r.Version != 2 {
		t.Fatalf("version %d, %v", r.Version, err)
	}
	r, err = record.Fold(append(events, record.Event{N: 3, Joined: joined("b", 0.1)}, record.Event{N: 4, Joined: joined("b", 0.5)}, record.Event{N: 5, Joined: joined("c", 0.2)}))
	if err != nil || len(r.Joined) != 2 || r.Joined[0].Gaps[0].G != 0.1 || r.Joined[1].N != 5 || r.Version != 3 || r.Ended == nil {
		t.Errorf("%+v, version %d, %v", r.Joined, r.Version, err)
	}
	for name, j := range map[string]*record.Joined{
		"far away":    {Run: "b", Gaps: []record.GapReading{{Place: record.Place{U: 1e6}, U: 0.01}}},
		"no number":   {Run: "b", Gaps: []record.GapReading{{G: math.NaN(), U: 0.01}, {G: 0.1, U: 0.01}}},
		"a long list": {Run: "b", Gaps: make([]record.GapReading, 201)},
	} {
		if _, err := record.Fold(append(events, record.Event{N: 3, Joined: j})); !errors.Is(err, record.ErrBounds) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
