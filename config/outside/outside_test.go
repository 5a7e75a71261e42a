package outside_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/config/outside"
)

// The code points are those of the Unicode Standard: 9.2 (order of bidirectional text),
// 23.2 (layout controls), 5.21 (ignorable); from memory.
func TestText(t *testing.T) {
	for in, want := range map[string]string{
		"X:1 Y:2":                     "X:1 Y:2",
		"20 \u00b0C, Gr\u00fc\u00dfe": "20 \u00b0C, Gr\u00fc\u00dfe",
		"\u5e8a\u3000\u4e00":          "\u5e8a\u3000\u4e00",
		"a\u202egnp.exe":              "a?gnp.exe", // turned right to left
		"a\u2066b\u2069":              "a?b?",      // isolated
		"ad\u200bmin\ufeff":           "ad?min?",   // without a width
		"a\u00adb":                    "a?b",       // soft hyphen
		"\u3164":                      "?",         // a letter that shows nothing
		"a\ufe0f":                     "a?",        // a selector of variations
		"a\U000e0041":                 "a?",        // a tag
		"\x1b[2J\x07\u009b2J":         "?[2J??2J",
		"a\r\nb\tc\x00":               "a??b?c?",
		"a\xffb":                      "a?b",
		"a\u2028b\u2029":              "a?b?", // ends of line and paragraph
	} {
		if got := outside.Text(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestRead(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := errors.Join(os.WriteFile(at("file"), []byte("twelve bytes"), 0o600), syscall.Mkfifo(at("pipe"), 0o600),
		os.Symlink(at("file"), at("link")), os.Symlink(at("pipe"), at("link-to-pipe"))); err != nil {
		t.Fatal(err)
	}
	for name, says := range map[string]string{
		at("file"): "", at("link"): "", at("pipe"): "no regular file", at("link-to-pipe"): "no regular file",
		"/dev/zero": "no regular file", dir: "is a directory", at("none"): "no such file",
	} {
		done := make(chan error, 1)
		go func() {
			_, err := outside.Read(name, 12)
			done <- err
		}()
		select {
		case err := <-done:
			if (err == nil) != (says == "") || err != nil && !strings.Contains(err.Error(), says) {
				t.Errorf("%s: %v", name, err)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%s: waits for ever", name)
		}
	}
	if _, err := outside.Read(at("file"), 11); err == nil || !strings.Contains(err.Error(), "larger than what belongs there, 11 bytes") {
		t.Errorf("a byte too much: %v", err)
	}
}

type inner struct {
	MM float64 `json:"mm"`
}

type shape struct {
	Steps  []string         `json:"steps"`
	Touch  *inner           `json:"touch"`
	All    []inner          `json:"all"`
	Named  map[string]inner `json:"named"`
	When   time.Time        `json:"when"`
	Any    any              `json:"any"`
	Hidden string           `json:"-"`
	inner
}

func TestJSON(t *testing.T) {
	for in, says := range map[string]string{
		`{"steps":["a"],"touch":{"mm":1},"all":[{"mm":1},{}],"named":{"MM":{"mm":1}},"when":"2026-01-02T03:04:05Z","any":{"MM":1,"mm":2}}`: "",
		`{"mm":1}`:                       "", // of what is embedded
		`null`:                           "",
		`{"touch":null,"all":null}`:      "",
		`{"STEPS":[]}`:                   `"STEPS" is not known here; the name is written steps`,
		`{"\u017fteps":[]}`:              "the name is written steps", // the long s
		`{"touch":{"Mm":1}}`:             "the name is written mm",
		`{"all":[{},{"mM":1}]}`:          "the name is written mm",
		`{"named":{"x":{"MM":1}}}`:       "the name is written mm",
		`{"steps":[],"steps":[]}`:        `"steps" is there twice`,
		`{"any":{"a":[{"b":1,"b":2}]}}`:  `"b" is there twice`,
		`{"Hidden":"x"}`:                 `"Hidden" is not known here`,
		`{"other":1}`:                    `"other" is not known here`,
		`{"touch":{"other":{"deep":1}}}`: `"other" is not known here`,
		`{"steps":[]} {}`:                "invalid character",
		`{"steps":[]`:                    "unexpected end",
		``:                               "unexpected end",
		`{"steps":"a"}`:                  "cannot unmarshal",
	} {
		var v shape
		err := outside.JSON([]byte(in), &v, true)
		if (err == nil) != (says == "") || err != nil && !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", in, err, says)
		}
		var member *outside.MemberError
		if says == "is there twice" && !errors.As(err, &member) {
			t.Errorf("%s: %T", in, err)
		}
	}
	var v shape
	if err := outside.JSON([]byte(`{"other":{"steps":1},"steps":["a"]}`), &v, false); err != nil || len(v.Steps) != 1 {
		t.Errorf("what may be there: %v %+v", err, v)
	}
}

func TestTexts(t *testing.T) {
	type deep struct {
		Fields map[string]string
		Lines  []string
		Next   *deep
		When   time.Time
	}
	v := deep{Fields: map[string]string{"a\x1b": "b\u202e"}, Lines: []string{"one\ntwo\x07"}, When: time.Unix(1, 0),
		Next: &deep{Lines: []string{"\x9b"}}}
	outside.Texts(&v)
	if v.Fields["a?"] != "b?" || len(v.Fields) != 1 || v.Lines[0] != "one\ntwo?" || v.Next.Lines[0] != "?" || !v.When.Equal(time.Unix(1, 0)) {
		t.Errorf("%+v", v)
	}
}
