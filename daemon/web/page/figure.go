package page

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
	"abbed/probe/record"
)

// figure is a picture with the sentence that says what is to be seen.
type figure struct {
	Title, Says string
	SVG         svg
	lowest      float64 // nozzle error that is drawn, mm
}

// record reads the record of a run; false if there is none yet.
func (p *page) record(id string) (record.Run, bool) {
	b, err := p.desk.Record(id)
	if err != nil {
		return record.Run{}, false
	}
	var r record.Run
	if err := json.Unmarshal(b, &r); err != nil {
		p.opts.Log.Error("page: record", "run", id, "cause", err)
		return record.Run{}, false
	}
	return r, true
}

// bedOf is the bed of a record, or what its touches span if it is not known.
func bedOf(rec record.Run) picture.Area {
	b := rec.Setup.Bed
	if !b.Valid() {
		var places []record.Place
		for _, t := range rec.Touches {
			places = append(places, t.Place)
		}
		b = record.Bound(places).Grown(10)
	}
	return b
}

// sideName says where the head came from.
func sideName(s record.Side) string {
	x := map[int8]string{-1: "left", 1: "right"}[s.X]
	y := map[int8]string{-1: "front", 1: "back"}[s.Y]
	switch {
	case x == "" && y == "":
		return "unknown"
	case x == "" || y == "":
		return x + y
	}
	return x + " " + y
}

func repeatFigure(rec record.Run) []figure {
	touches := rec.Of(record.SeriesRepeat)
	if len(touches) == 0 {
		return nil
	}
	d := picture.Dots{Alt: fmt.Sprintf("%d touches of one point span %s. The columns are the sides from which the head came.", len(touches), mm(reach(touches)))}
	column := map[record.Side]int{}
	for _, t := range touches {
		k, known := column[t.Side]
		if !known {
			k = len(d.Series)
			column[t.Side] = k
			d.Series = append(d.Series, picture.Series{Name: sideName(t.Side)})
		}
		d.Series[k].Z = append(d.Series[k].Z, t.Z)
	}
	return []figure{{Title: titleRepeat, Says: d.Alt + " Bars are means. Where they differ, the head has play.", SVG: d.SVG()}}
}

func rowFigure(rec record.Run) []figure {
	touches := rec.Of(record.SeriesRow)
	if len(touches) == 0 {
		return nil
	}
	var passes [3]struct{ x, z []float64 }
	for _, t := range touches {
		if t.Pass >= 0 && t.Pass < len(passes) {
			passes[t.Pass].x, passes[t.Pass].z = append(passes[t.Pass].x, t.Place.U), append(passes[t.Pass].z, t.Z)
		}
	}
	l := picture.Passes{Alt: fmt.Sprintf("%d touches along one row span %s.", len(touches), mm(reach(touches)))}
	for _, p := range passes {
		if len(p.x) > 0 {
			l.X, l.Z = append(l.X, p.x), append(l.Z, p.z)
		}
	}
	return []figure{{Title: titleRows, Says: l.Alt + " Lines on top of each other: the carriage runs the same way each time.", SVG: l.SVG()}}
}

func mapFigure(rec record.Run) []figure {
	touches := rec.Of(record.SeriesSurvey)
	if len(touches) == 0 {
		touches = rec.Of(record.SeriesGiven)
	}
	if len(touches) == 0 {
		return nil
	}
	var pts []picture.Point
	for _, t := range touches {
		pts = append(pts, picture.Point{U: t.Place.U, V: t.Place.V, Z: t.Z})
	}
	b := picture.Bed{Bed: bedOf(rec), Field: picture.Gather(pts), Unit: "mm", Low: "low", High: "high"}
	b.Alt = fmt.Sprintf("%d touches of the bed span %s.", len(touches), mm(reach(touches)))
	return []figure{{Title: titleMap, Says: b.Alt + " They show bed and beam together." + beyondSays(b), SVG: b.SVG()}}
}

func baseFigure(rec record.Run) []figure {
	touches := rec.Of(record.SeriesBase)
	if len(touches) < 2 {
		return nil
	}
	t := picture.Timeline{Alt: fmt.Sprintf("%d touches of the same point span %s.", len(touches), mm(reach(touches)))}
	for _, x := range touches {
		t.T, t.Z = append(t.T, x.T), append(t.Z, x.Z)
	}
	return []figure{{Title: titleBase, Says: t.Alt + " A slope is drift.", SVG: t.SVG()}}
}

func profileFigure(a api.Analysis) []figure {
	pr := a.Profile
	if pr == nil || len(pr.X) < 2 {
		return nil
	}
	lo, hi := slices.Min(pr.Effect), slices.Max(pr.Effect)
	p := picture.Profile{X: pr.X, Effect: pr.Effect, U: pr.U, Front: pr.Front, Back: pr.Back}
	p.Alt = fmt.Sprintf("From left to right the bed map goes from %s to %s. The same shape shows from front to back (%s).", mm(lo), mm(hi), say.Percent(pr.Repeats))
	return []figure{{Title: titleProfile, Says: p.Alt, SVG: p.SVG()}}
}

// reach is the largest height less the smallest, mm.
func reach(touches []record.Touch) float64 {
	byZ := func(a, b record.Touch) int { return cmp.Compare(a.Z, b.Z) }
	return slices.MaxFunc(touches, byZ).Z - slices.MinFunc(touches, byZ).Z
}
