package web

import (
	"context"
	"net/http"
	"reflect"

	"abbed/daemon/api"
)

// routes makes a route of each verb of the API: its question is read, the method of the
// desk that has its name is asked, and what that answers is sent.
func (s *site) routes() []route {
	own := map[string]route{"RunEvents": {serve: s.events}, "Gap": {ask: s.gap}}
	out := []route{{method: http.MethodGet, path: "/api/openapi.json", serve: s.describe}}
	for _, v := range api.VerbTable() {
		rt := own[v.Name]
		rt.method, rt.path, rt.status, rt.slow = v.Method, v.Path, v.Status, v.Slow
		if rt.serve == nil && rt.ask == nil {
			rt.ask = s.asking(v)
		}
		out = append(out, rt)
	}
	return out
}

// asking reads the question of a verb and asks the desk.
func (s *site) asking(v api.Verb) func(*http.Request) (any, error) {
	ask, then := s.method(v.Name, v), s.method(v.Then, v)
	return func(r *http.Request) (any, error) {
		question, err := asked(v, r)
		if err != nil {
			return nil, err
		}
		answer, err := ask(r, question)
		if err != nil || v.Then == "" {
			return answer, err
		}
		return then(r, question)
	}
}

// asked reads what goes with a request: a body, a query, or nothing. A verb that has a
// query reads no body, whatever it looks like: a stop must not fail for one.
func asked(v api.Verb, r *http.Request) (question reflect.Value, err error) {
	switch {
	case v.In == nil:
		if v.Method != http.MethodGet {
			err = noBody(r)
		}
		return question, err
	case v.Query:
		question = reflect.New(v.In)
		return question.Elem(), question.Interface().(api.QueryReader).ReadQuery(r.URL.Query())
	}
	question = reflect.New(v.In)
	if err = body(r, question.Interface()); err == nil {
		err = fits(question.Elem())
	}
	return question.Elem(), err
}

// method is the method of the desk with a name. It is told what it asks for, by type: the
// context; as strings what stands in the path, and behind that who asks; and the question.
func (s *site) method(name string, v api.Verb) func(*http.Request, reflect.Value) (any, error) {
	if name == "" {
		return nil
	}
	m := reflect.ValueOf(s.desk).MethodByName(name)
	return func(r *http.Request, question reflect.Value) (any, error) {
		ctx := r.Context()
		if v.Lasting {
			ctx = context.WithoutCancel(ctx)
		}
		params, args := v.Params, []reflect.Value{}
		for t := range m.Type().Ins() {
			switch {
			case t == reflect.TypeFor[context.Context]():
				args = append(args, reflect.ValueOf(ctx))
			case t.Kind() != reflect.String:
				args = append(args, question)
			case len(params) > 0:
				args, params = append(args, reflect.ValueOf(r.PathValue(params[0]))), params[1:]
			default:
				args = append(args, reflect.ValueOf(s.opts.By(r, "api")))
			}
		}
		var answer any
		for _, out := range m.Call(args) {
			if out.Type() != reflect.TypeFor[error]() {
				answer = out.Interface()
			} else if err, failed := out.Interface().(error); failed {
				return nil, err
			}
		}
		return answer, nil
	}
}

// maxPoints is how many points one question about the gap may hold.
const maxPoints = 4000

// gap reads the points as lists, because Go fills a short pair with zeros and
// drops the end of a long one, and neither is what was asked.
func (s *site) gap(r *http.Request) (any, error) {
	var asked struct {
		Points [][]*float64 `json:"points"`
	}
	if err := body(r, &asked); err != nil {
		return nil, err
	}
	if asked.Points == nil {
		return nil, badValue("%q: a list of [u, v] pairs is wanted", "points")
	}
	if len(asked.Points) > maxPoints {
		return nil, badValue("%q: %d points; at most %d at once", "points", len(asked.Points), maxPoints)
	}
	a := api.AskGap{Points: make([][2]float64, len(asked.Points))}
	for i, p := range asked.Points {
		if len(p) != 2 || p[0] == nil || p[1] == nil {
			return nil, badValue("\"points\": point %d is not two numbers: u and v, mm, are wanted", i)
		}
		a.Points[i] = [2]float64{*p[0], *p[1]}
	}
	return s.desk.Gap(r.PathValue("id"), a)
}
