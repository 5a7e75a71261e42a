package web_test

import (
	"context"
	"reflect"
	"slices"
	"strings"
	"testing"

	"abbed/daemon/api"
)

// Every verb of the table is a method of the desk that takes and gives the same types: a
// context may be left out, and who asks comes last.
func TestDeskHasEveryVerb(t *testing.T) {
	context, failure := reflect.TypeFor[context.Context](), reflect.TypeFor[error]()
	without := func(of reflect.Type, types []reflect.Type) []reflect.Type {
		return slices.DeleteFunc(types, func(t reflect.Type) bool { return t == of })
	}
	desk := reflect.TypeFor[api.Desk]()
	verbs := reflect.TypeFor[api.Verbs]()
	for i, v := range api.VerbTable() {
		f := verbs.Field(i).Type
		if v.Name == "RunEvents" { // answered by the state of the run, again and again
			continue
		}
		m, ok := desk.MethodByName(v.Name)
		if !ok {
			t.Errorf("the desk has no %s", v.Name)
			continue
		}
		in, takes := without(context, slices.Collect(f.Ins())), without(context, slices.Collect(m.Type.Ins()))
		if len(takes) == len(in)+1 && takes[len(in)].Kind() == reflect.String {
			takes = takes[:len(in)] // who asks
		}
		if !slices.Equal(in, takes) {
			t.Errorf("%s takes %v, of the desk %v", v.Name, in, takes)
		}
		if out, gives := without(failure, slices.Collect(f.Outs())), without(failure, slices.Collect(m.Type.Outs())); !slices.Equal(out, gives) {
			t.Errorf("%s gives %v, of the desk %v", v.Name, out, gives)
		}
		if strings.Count(v.Path, "{") != len(v.Params) || v.Summary == "" || v.Out == nil {
			t.Errorf("%s: %+v", v.Name, v)
		}
	}
}
