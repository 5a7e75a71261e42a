package e2e_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/say/saytest"
)

// documents are all that a person reads beside the page.
var documents = []string{"README.md", "deploy/docs/install.md", "deploy/docs/operate.md", "deploy/docs/understand.md", "deploy/docs/lookup.md"}

// mostWords of a document: all that stands between blanks, code and marks too.
const mostWords = 1000

// paragraphs cuts a document into what is read in one go: code is left out, and each cell
// of a table and each point of a list stands for itself.
func paragraphs(text string) (out []string) {
	var now []string
	end := func() {
		if len(now) > 0 {
			out = append(out, strings.Join(now, " "))
		}
		now = nil
	}
	for line := range strings.Lines(text) {
		bare := strings.TrimSpace(line)
		switch {
		case bare == "" || strings.HasPrefix(bare, "<!--") || strings.HasPrefix(bare, "|--"):
			end()
		case strings.HasPrefix(line, "    "):
			end()
		case strings.HasPrefix(bare, "|"):
			end()
			out = append(out, strings.Split(strings.Trim(bare, "|"), "|")...)
		case strings.HasPrefix(bare, "#"):
			end()
			out = append(out, strings.TrimLeft(bare, "# "))
		default:
			if regexp.MustCompile(`^(?:[-*]|\d+\.) `).MatchString(bare) {
				end()
			}
			now = append(now, bare)
		}
	}
	end()
	return out
}

var (
	links  = regexp.MustCompile(`!?\[([^\]]*)\]\([^)]*\)`)
	quoted = regexp.MustCompile("`[^`]*`")
)

// TestPlainDocuments: the documents are short, and in plain words.
func TestPlainDocuments(t *testing.T) {
	all := 0
	for _, name := range documents {
		b, err := os.ReadFile("../../..//" + name)
		if err != nil {
			t.Fatal(err)
		}
		n := len(strings.Fields(string(b)))
		all += n
		if n >= mostWords {
			t.Errorf("%s has %d words", name, n)
		}
		for _, p := range paragraphs(string(b)) {
			p = quoted.ReplaceAllString(links.ReplaceAllString(p, "$1"), "CODE")
			for _, f := range saytest.Faults(p, saytest.Document) {
				t.Errorf("%s: %s\n\t%s", name, f, p)
			}
		}
	}
	t.Logf("%d words", all)
}

// TestPlainHelp: so are the help of each command, its flags and the settings.
func TestPlainHelp(t *testing.T) {
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		texts := append(paragraphs(regexp.MustCompile(`(?m)^  .*$`).ReplaceAllString(c.Long, "")), c.Short)
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if f.Name != "help" && f.Annotations[console.SharedFlag] == nil {
				texts = append(texts, f.Usage)
			}
		})
		for _, text := range texts {
			for _, f := range append(saytest.Faults(text, saytest.Document), saytest.Whole(text)...) {
				t.Errorf("%s: %s\n\t%s", c.CommandPath(), f, text)
			}
		}
		for _, below := range c.Commands() {
			look(below)
		}
	}
	look(commands.Commands())
	for _, f := range config.Fields() {
		text := f.Says
		if first, _, ok := strings.Cut(text, ":"); ok && slices.Contains(f.Words, first) {
			text = "A " + text // begins with a word that is to be written so
		}
		for _, fault := range append(saytest.Faults(text, saytest.Document), saytest.Whole(text)...) {
			t.Errorf("%s: %s\n\t%s", f.Key, fault, f.Says)
		}
	}
}

// TestNamesInDocuments: each command and each setting that a document names is there.
func TestNamesInDocuments(t *testing.T) {
	root, keys := commands.Commands(), map[string]bool{}
	for _, f := range config.Fields() {
		keys[f.Key] = true
	}
	for _, name := range append(documents, "deploy/metrics/runbook.md", "deploy/metrics/README.md", "deploy/package/sections.md", "DEVELOPERS.md") {
		b, err := os.ReadFile("../../..//" + name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile("(?m)(?:^    (?:sudo )?|`(?:sudo )?)abbed ((?:[a-z-]+ ?)+)").FindAllStringSubmatch(string(b), -1) {
			words := strings.Fields(m[1])
			if c, rest, err := root.Find(words); err != nil || c == root && len(rest) > 0 && rest[0] != "help" {
				t.Errorf("%s: there is no command abbed %s", name, m[1])
			}
		}
		for _, m := range regexp.MustCompile("`([a-z]+\\.[a-z_]+)(?:: [^`]*)?`").FindAllStringSubmatch(string(b), -1) {
			group, _, _ := strings.Cut(m[1], ".")
			if strings.HasSuffix(m[1], ".md") || strings.HasSuffix(m[1], ".json") || strings.HasSuffix(m[1], ".yml") || strings.HasSuffix(m[1], ".html") {
				continue
			}
			if !keys[m[1]] && isGroup(keys, group) {
				t.Errorf("%s: there is no setting %s", name, m[1])
			}
		}
	}
}

// TestOneSocket: the documents name the socket of the package, and no other.
func TestOneSocket(t *testing.T) {
	found := 0
	for _, name := range append(documents, "deploy/metrics/runbook.md", "deploy/metrics/README.md") {
		b, err := os.ReadFile("../../..//" + name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(/[\w./-]*socket?)\b|unix:(\S+)|unix-socket (\S+)`).FindAllStringSubmatch(string(b), -1) {
			found++
			if !regexp.MustCompile(`/run/abbed/(?:left|NAME)/socket$`).MatchString(strings.TrimRight(m[0], "`")) {
				t.Errorf("%s names %s", name, m[0])
			}
		}
	}
	if found < 5 {
		t.Errorf("%d sockets: the documents tell of one", found)
	}
}

// isGroup reports whether some setting is in a group.
func isGroup(keys map[string]bool, group string) bool {
	for key := range keys {
		if strings.HasPrefix(key, group+".") {
			return true
		}
	}
	return false
}
