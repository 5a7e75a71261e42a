package webtest

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"abbed/daemon/web/description"
)

const docURL = "https://abbed.invalid/openapi.json"

// book is the description with the schemas that were compiled from it.
type book struct {
	mu       sync.Mutex
	compiler *jsonschema.Compiler
	paths    map[string]any
	split    []template
	fits     map[[sha256.Size]byte]bool // bodies that were found to fit, by fingerprint
	err      error
}

// template is a path of the description, and its parts.
type template struct {
	path  string
	parts []string
}

var theBook = sync.OnceValue(func() *book { return read(description.JSON()) })

// read closes the shapes of a description and makes them ready to compile. JSON
// Schema 2020-12 is what OpenAPI 3.1 uses for its shapes.
func read(b []byte) *book {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		return &book{err: err}
	}
	closeShapes(doc)
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	err = c.AddResource(docURL, doc)
	paths, _ := doc.(map[string]any)["paths"].(map[string]any)
	out := &book{compiler: c, paths: paths, fits: map[[sha256.Size]byte]bool{}, err: err}
	for _, p := range slices.Sorted(maps.Keys(paths)) {
		out.split = append(out.split, template{p, strings.Split(p, "/")})
	}
	return out
}

// closeShapes refuses unknown members in every object that does not say
// anything about them.
func closeShapes(v any) {
	switch v := v.(type) {
	case map[string]any:
		_, members := v["properties"].(map[string]any)
		if _, said := v["additionalProperties"]; v["type"] == "object" && members && !said {
			v["additionalProperties"] = false
		}
		for _, w := range v {
			closeShapes(w)
		}
	case []any:
		for _, w := range v {
			closeShapes(w)
		}
	}
}

// Validate compares one answer with the description: the path must be there,
// with this method and status, and the body must have the shape. An event
// stream is compared event by event. The status 405 and a 404 of a path that is
// not described must carry a refusal.
func Validate(method, path string, status int, body []byte) error {
	b := theBook()
	if b.err != nil {
		return fmt.Errorf("webtest: the description: %w", b.err)
	}
	if err := b.validate(method, path, status, body); err != nil {
		return fmt.Errorf("webtest: %s %s %d: %w", method, path, status, err)
	}
	return nil
}

func (b *book) validate(method, path string, status int, body []byte) error {
	template, found := b.find(path)
	if (!found && status == 404) || status == 405 {
		return b.compare("#/components/responses/Refused/content/application~1json/schema", body)
	}
	if !found {
		return fmt.Errorf("the path is not described")
	}
	at := []string{"paths", template, strings.ToLower(method), "responses", strconv.Itoa(status)}
	response, ok := dig(b.paths, at[1:]...).(map[string]any)
	if !ok {
		return fmt.Errorf("this status is not described")
	}
	where := "#/" + pointer(at)
	if r, ok := response["$ref"].(string); ok {
		where, response = r, map[string]any{"content": map[string]any{"application/json": nil}}
	}
	content, _ := response["content"].(map[string]any)
	for kind := range content {
		schema := where + "/content/" + escape(kind) + "/schema"
		switch kind {
		case "text/event-stream":
			return b.compareEvents(schema, body)
		case "text/plain":
			text, _ := json.Marshal(string(body))
			return b.compare(schema, text)
		default:
			return b.compare(schema, body)
		}
	}
	if len(body) > 0 {
		return fmt.Errorf("a body where none is described")
	}
	return nil
}

// find returns the template that path fits.
func (b *book) find(path string) (string, bool) {
	parts := strings.Split(path, "/")
	for _, t := range b.split {
		if slices.EqualFunc(t.parts, parts, func(t, p string) bool {
			return t == p || (strings.HasPrefix(t, "{") && p != "")
		}) {
			return t.path, true
		}
	}
	return "", false
}

func (b *book) compareEvents(schema string, body []byte) error {
	for line := range strings.Lines(string(body)) {
		if data, ok := strings.CutPrefix(line, "data: "); ok {
			if err := b.compare(schema, []byte(data)); err != nil {
				return err
			}
		}
	}
	return nil
}

// compare compares a body with a schema, once: who polls gets the same answer
// thousands of times.
func (b *book) compare(where string, body []byte) error {
	print := sha256.Sum256(append([]byte(where+"\x00"), body...))
	b.mu.Lock()
	fits := b.fits[print]
	b.mu.Unlock()
	if fits {
		return nil
	}
	if err := b.compareAnew(where, body); err != nil {
		return err
	}
	b.mu.Lock()
	b.fits[print] = true
	b.mu.Unlock()
	return nil
}

func (b *book) compareAnew(where string, body []byte) error {
	b.mu.Lock()
	schema, err := b.compiler.Compile(docURL + where) // which keeps what it has compiled
	b.mu.Unlock()
	if err != nil {
		return err
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("the body is not JSON: %w: %.200s", err, body)
	}
	if err := schema.Validate(v); err != nil {
		return fmt.Errorf("%w\nin %.2000s", err, body)
	}
	return nil
}

func dig(v any, names ...string) any {
	for _, n := range names {
		o, ok := v.(map[string]any)
		if !ok {
			return nil
		}
		v = o[n]
	}
	return v
}

func pointer(parts []string) string {
	for i := range parts {
		parts[i] = escape(parts[i])
	}
	return strings.Join(parts, "/")
}

var inPointer = strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D")

// escape writes one part of a JSON pointer in a URL (RFC 6901).
func escape(s string) string { return inPointer.Replace(s) }
