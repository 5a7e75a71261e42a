package api

import (
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"strconv"
	"strings"
)

// QueryReader is a question that stands in the query of its address. Each field says by
// its tag query under which name.
type QueryReader interface{ ReadQuery(q url.Values) error }

// badQuery is the refusal of a value in a query.
func badQuery(text string, args ...any) *Error {
	return Errorf(http.StatusUnprocessableEntity, "bad-value", "the shape of each body stands in /api/openapi.json", text, args...)
}

// QueryOf writes a question as the query of its address; what is zero is left out.
func QueryOf(question any) string {
	q := url.Values{}
	v := reflect.ValueOf(question)
	for i := range v.NumField() {
		f, name := v.Field(i), v.Type().Field(i).Tag.Get("query")
		if f.IsZero() {
			continue
		}
		switch of := f.Interface().(type) {
		case bool:
			q.Set(name, "yes")
		case []XY:
			for _, p := range of {
				q.Add(name, fmt.Sprintf("%g,%g", p.X, p.Y))
			}
			if v.Type().Field(i).Tag.Get("maxItems") == "" {
				q.Set(name, strings.Join(q[name], " "))
			}
		case *Rect:
			q.Set(name, fmt.Sprintf("%g,%g,%g,%g", of.X0, of.Y0, of.X1, of.Y1))
		default:
			q.Set(name, fmt.Sprint(of))
		}
	}
	return q.Encode()
}

// AskStop asks for a stop of what goes on.
type AskStop struct {
	// For is what the asker saw going on (Printer.Going); a stop never reaches
	// anything else. "": whatever goes on now.
	For string `query:"for" about:"what the asker saw going on; a stop of anything else is not sent"`
	// Anyway says that the request is to go out though nothing of abbed's goes on: it
	// may end a print that another program or the printer itself runs.
	Anyway bool `query:"anyway" about:"send it though nothing of abbed's goes on: it may end a print that is not abbed's"`
}

// ReadQuery reads for= and anyway=yes, and refuses nothing.
func (a *AskStop) ReadQuery(q url.Values) error {
	*a = AskStop{For: q.Get("for"), Anyway: q.Get("anyway") == "yes"}
	return nil
}

// AskPrint asks for the file of a proof print.
type AskPrint struct {
	Run     string `query:"run" about:"the run; empty: none"`
	InForce string `query:"in_force" about:"the correction that it is to be printed with: none (patches that would dig in are left out), map or file; empty: what is known"`
}

// ReadQuery reads run= and in_force=.
func (a *AskPrint) ReadQuery(q url.Values) error {
	*a = AskPrint{Run: q.Get("run"), InForce: q.Get("in_force")}
	return nil
}

// AskLevers asks what the gap error would be with other levers.
type AskLevers struct {
	Levers []XY `query:"lever" about:"x,y from nozzle to probe, mm; once for each lever" maxItems:"50"`
	// Within is where the probe could be mounted, mm from the nozzle; nil: no
	// place is looked for.
	Within *Rect `query:"within" about:"x0,y0,x1,y1: where the probe could be mounted, mm from the nozzle; the best place in it is looked for"`
}

// maxLevers is how many levers one question may hold.
const maxLevers = 50

// ReadQuery reads lever=x,y (any number of them) and within=x0,y0,x1,y1, mm from the nozzle.
func (a *AskLevers) ReadQuery(q url.Values) error {
	*a = AskLevers{Levers: []XY{}}
	levers, within := q["lever"], q.Get("within")
	if len(levers) > maxLevers {
		return badQuery("%q: %d levers; at most %d at once", "lever", len(levers), maxLevers)
	}
	for _, text := range levers {
		v, ok := lengths(text, 2)
		if !ok {
			return badQuery("%q: %q is not x,y in mm, from nozzle to probe", "lever", text)
		}
		a.Levers = append(a.Levers, XY{X: v[0], Y: v[1]})
	}
	if within != "" {
		v, ok := lengths(within, 4)
		if !ok || v[2] < v[0] || v[3] < v[1] {
			return badQuery("%q: %q is not x0,y0,x1,y1 in mm, from nozzle to probe, the smaller first", "within", within)
		}
		a.Within = &Rect{X0: v[0], Y0: v[1], X1: v[2], Y1: v[3]}
	}
	return nil
}

// lengths reads n lengths with commas between them, each within 300 mm.
func lengths(text string, n int) ([]float64, bool) {
	parts := strings.Split(text, ",")
	if len(parts) != n {
		return nil, false
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || !(v >= -300 && v <= 300) {
			return nil, false
		}
		out[i] = v
	}
	return out, true
}

// AskRepair is what the repair desk has to be told, lengths in mm; the zero value takes
// what the settings and the run say.
type AskRepair struct {
	Mounting float64 `query:"mounting" about:"length between the brackets of the beam, mm; without it no shim has a thickness"`
	Spacing  float64 `query:"spacing" about:"of a bracket's fasteners across the beam, mm; 20"`
	Width    float64 `query:"width" about:"of the profile, mm; 20"`
	Height   float64 `query:"height" about:"other side of its section, mm; as wide"`
	Rails    float64 `query:"rails" about:"distance of two rails, mm; 0: one beam"`
	Supports []XY    `query:"supports" about:"x,y of the bed's supports, mm, with blanks between them; those of the settings"`
	Pitch    float64 `query:"pitch" about:"by how much a turn of their screws moves the bed, mm; that of the settings"`
}

// ReadQuery reads lengths, and supports as x,y with blanks between them.
func (a *AskRepair) ReadQuery(q url.Values) error {
	*a = AskRepair{}
	for name, into := range map[string]*float64{"mounting": &a.Mounting, "spacing": &a.Spacing, "width": &a.Width, "height": &a.Height, "rails": &a.Rails, "pitch": &a.Pitch} {
		if text := q.Get(name); text != "" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || v != 0 && !(v >= 0.01 && v <= 10000) { // 0: not said
				return badQuery("%q: %.40q is no length in mm", name, text)
			}
			*into = v
		}
	}
	places, bad := ReadPlaces(q.Get("supports"))
	if bad != nil {
		bad.Text = "\"supports\": " + bad.Text
		return bad
	}
	a.Supports = places
	return nil
}
