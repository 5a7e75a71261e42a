package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"abbed/config/outside"
	"abbed/daemon/api"
)

// body reads the request's JSON into v, strictly: one object, no member that v does not
// know, none twice, nothing after it.
func body(r *http.Request, v any) error {
	b, err := readBody(r)
	if err != nil {
		return err
	}
	if len(b) == 0 {
		return badJSON("the body is empty; an object is wanted")
	}
	if err := rightType(r); err != nil {
		return err
	}
	return decode(b, v)
}

// fits holds the members that a body must have to what their tags say: what is wanted where
// one is empty, the words of an enum; and a person, if one is named, to a name that can be
// shown.
func fits(body reflect.Value) error {
	for i := range body.NumField() {
		f, member := body.Type().Field(i), body.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		wanted, words := f.Tag.Get("wanted"), strings.Split(f.Tag.Get("enum"), ",")
		last := len(words) - 1
		switch {
		case options != "" && (name != "person" || member.IsZero()):
		case name == "person":
			person, err := api.CheckPerson(member.String())
			if err != nil {
				return err
			}
			member.SetString(person)
		case wanted != "" && (member.IsZero() || member.Kind() == reflect.Slice && member.Len() == 0):
			return badValue("%q: %s", name, wanted)
		case last > 0 && !slices.Contains(words, member.String()):
			return badValue("%q: %s or %s is wanted, not %q", name, strings.Join(words[:last], ", "), words[last], member.String())
		}
	}
	return nil
}

// noBody reads the body of a verb that takes nothing: empty, or {}.
func noBody(r *http.Request) error {
	b, err := readBody(r)
	if err != nil || len(b) == 0 {
		return err
	}
	return decode(b, &struct{}{})
}

// readBody reads the body as it comes: what is packed is never unpacked, since a
// few bytes can become very many.
func readBody(r *http.Request) ([]byte, error) {
	if packed := r.Header.Get("Content-Encoding"); packed != "" && !strings.EqualFold(packed, "identity") {
		return nil, api.Errorf(http.StatusUnsupportedMediaType, "bad-json", "send the body as it is, without Content-Encoding", "a body that is packed (%.40q) is not taken", packed)
	}
	b, err := io.ReadAll(io.LimitReader(r.Body, MaxBody+1))
	if err != nil {
		return nil, badJSON("the body did not arrive whole: %v", err)
	}
	if len(b) > MaxBody {
		return nil, api.Errorf(http.StatusRequestEntityTooLarge, "too-large-body",
			"send less at once", "the body is larger than %d bytes", MaxBody)
	}
	return bytes.TrimSpace(b), nil
}

// rightType refuses what a form of another page could send. A request with an
// Authorization header comes from a program, which a form cannot imitate.
func rightType(r *http.Request) error {
	given := r.Header.Get("Content-Type")
	kind, _, _ := mime.ParseMediaType(given)
	if given == "" || kind == "application/json" || strings.HasSuffix(kind, "+json") || r.Header.Get("Authorization") != "" {
		return nil
	}
	return api.Errorf(http.StatusUnsupportedMediaType, "bad-json",
		"send Content-Type: application/json", "a body of type %q is not taken", given)
}

// decode fills v from b or says what is wrong: 400 for what is not JSON, 422
// for JSON of another shape.
func decode(b []byte, v any) error {
	if json.Valid(b) && b[0] != '{' {
		return api.Errorf(http.StatusUnprocessableEntity, "bad-json", shapeHint, "the body is not an object")
	}
	err := outside.JSON(b, v, true)
	var syntax *json.SyntaxError
	var wrong *json.UnmarshalTypeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax):
		return badJSON("the body is not JSON: %v", err)
	case errors.As(err, &wrong):
		return badValue("%s: %s does not fit; a %s is wanted", place(wrong.Field), wrong.Value, kind(wrong))
	default:
		return badValue("%v", err)
	}
}

const shapeHint = "the shape of each body stands in /api/openapi.json"

func badJSON(text string, args ...any) error {
	return api.Errorf(http.StatusBadRequest, "bad-json", shapeHint, text, args...)
}

func badValue(text string, args ...any) error {
	return api.Errorf(http.StatusUnprocessableEntity, "bad-value", shapeHint, text, args...)
}

func place(field string) string {
	if field == "" {
		return "the body"
	}
	return fmt.Sprintf("%q", field)
}

// kind names a wanted Go type as JSON does.
func kind(e *json.UnmarshalTypeError) string {
	switch k := strings.TrimLeft(e.Type.String(), "*"); {
	case strings.HasPrefix(k, "float"):
		return "number within the range of a double"
	case strings.HasPrefix(k, "["):
		return "list"
	case k == "string", k == "bool":
		return strings.Replace(k, "bool", "boolean", 1)
	default:
		return "object"
	}
}
