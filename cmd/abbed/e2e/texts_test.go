package e2e_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"abbed/config/say/saytest"
)

// verbs of fmt stand for a word.
var verbs = regexp.MustCompile(`%[-+# 0-9.*]*[a-zA-Z]`)

// foreign are texts in other languages: SQL, markup, policies, G-code, patterns.
var foreign = regexp.MustCompile(`CREATE |SELECT |INSERT |ALTER |^<|^text/|^[a-z-]+ '(?:none|self)'|^G21|^;|^\(\?`)

// TestPlainSource holds every sentence in the program's own source, findings, errors, hints,
// help and alerts among them, to the words and the length of the guide to plain words.
func TestPlainSource(t *testing.T) {
	for _, room := range []string{"analysis", "probe", "daemon", "config", "gcode", "cmd"} {
		err := filepath.WalkDir("../../..//"+room, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || unread(path) {
				return err
			}
			files := token.NewFileSet()
			f, err := parser.ParseFile(files, path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				l, ok := n.(*ast.BasicLit)
				if !ok || l.Kind != token.STRING {
					return true
				}
				text, _ := strconv.Unquote(l.Value)
				for _, text := range saidIn(text) {
					if strings.Count(text, " ") < 2 || foreign.MatchString(text) {
						continue
					}
					if !longer(path) && !itemised(path) && strings.Contains(text, "; ") && unicode.IsUpper(rune(text[0])) {
						t.Errorf("%s: a semicolon: write two sentences\n\t%s", files.Position(l.Pos()), text)
					}
					for _, fault := range saytest.Faults(verbs.ReplaceAllString(text, "9"), saytest.Error) {
						if longer(path) && (strings.Contains(fault, " words: ") || strings.Contains(fault, "semicolon")) {
							continue
						}
						t.Errorf("%s: %s\n\t%s", files.Position(l.Pos()), fault, text)
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// tag is the tag of a field or a verb of the API, about what its description says of it.
var (
	tag   = regexp.MustCompile(`^(?:json|verb|query):"`)
	about = regexp.MustCompile(`(?:about|summary|says|wanted):"([^"]*)"`)
)

// saidIn are the sentences of a text: itself, or where it is a tag what that says.
func saidIn(text string) (out []string) {
	if !tag.MatchString(text) {
		return []string{text}
	}
	for _, m := range about.FindAllStringSubmatch(text, -1) {
		out = append(out, m[1])
	}
	return out
}

// longer are the files whose sentences are read by programmers: the description of the API, and
// the long helps of commands.
func longer(path string) bool {
	return strings.Contains(path, "web/description/") || strings.Contains(path, "daemon/api/") || strings.Contains(path, "/cmd/")
}

// itemised are the files of what is described in a list, a setting or a metric each.
func itemised(path string) bool {
	return strings.Contains(path, "config/") || strings.Contains(path, "daemon/metrics/")
}

// unread are the files whose texts no person reads, or that only tests use.
func unread(path string) bool {
	for _, part := range []string{"webtest", "storetest", "gcodetest", "saytest", "gcode/bench/",
		"analysis/proof/", "analysis/workshop/", "results/repair.go", "results/proofprint.go"} {
		if strings.Contains(path, part) {
			return true
		}
	}
	return false
}
