//go:build manual

package commands

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"abbed/cmd/abbed/console"
	"abbed/config"
)

// The manual is made by a build of its own (deploy/build), so that the program
// does not carry what writes it.
func init() { extra = append(extra, manualCommand) }

func manualCommand() *cobra.Command {
	return &cobra.Command{
		Use: "manual DIR SECTIONS", Short: "Write the manual pages.", Hidden: true, Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error { return manual(c.Root(), args[0], args[1]) },
	}
}

// manual writes a page for each command, with the hand-written sections at the
// end of the first, and one for the settings.
func manual(root *cobra.Command, dir, sections string) error {
	root.DisableAutoGenTag = true
	at, err := builtAt()
	if err != nil {
		return err
	}
	head := doc.GenManHeader{Title: "ABBED", Section: "1", Source: "abbed " + console.Version, Manual: "abbed", Date: &at}
	if err := doc.GenManTree(root, &head, dir); err != nil {
		return err
	}
	hand, err := os.ReadFile(sections)
	if err != nil {
		return err
	}
	first := filepath.Join(dir, "abbed.1")
	page, err := os.ReadFile(first)
	if err != nil {
		return err
	}
	page = append(page, body(md2man.Render(append([]byte("# abbed 1\n"), hand...)))...)
	if err := os.WriteFile(first, page, 0o644); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "abbed-settings.5"), md2man.Render(settingsPage(head)), 0o644)
}

// builtAt is the date of the pages: that of the sources where it is given, so
// that the same sources make the same pages.
func builtAt() (time.Time, error) {
	text := os.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		return time.Now(), nil
	}
	s, err := strconv.ParseInt(text, 10, 64)
	return time.Unix(s, 0).UTC(), err
}

// body is a rendered page without its title.
func body(page []byte) []byte {
	if i := bytes.Index(page, []byte(".SH")); i >= 0 {
		return page[i:]
	}
	return page
}

// settingsPage describes every setting, in Markdown.
func settingsPage(h doc.GenManHeader) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "%% \"ABBED-SETTINGS\" \"5\" \"%s\" \"%s\" \"abbed\"\n", h.Date.Format("Jan 2006"), h.Source)
	b.WriteString("# NAME\nabbed-settings - settings of abbed\n\n# DESCRIPTION\nA settings file is YAML. The service of the printer NAME reads */etc/abbed/NAME.yaml*, which abbed setup writes; any other is named with --config. Each setting can also be given in the environment and as --set key=value; flags win over the environment, the environment wins over the file. Lengths are mm, speeds mm/s. What is not set is asked of the printer, or has the default that is named here.\n\n# SETTINGS\n")
	def := config.Defaults()
	for _, f := range config.Fields() {
		fmt.Fprintf(&b, "**%s** (%s)\n: %s", f.Key, f.Env(), f.Says)
		if d := def[f.Key]; d != "" {
			fmt.Fprintf(&b, " Default %s.", d)
		}
		if f.Words != nil {
			fmt.Fprintf(&b, " One of %s.", f.Shape())
		}
		if r := f.Range(); r != "" {
			fmt.Fprintf(&b, " Useful: %s.", r)
		}
		b.WriteString("\n\n")
	}
	b.WriteString("# SEE ALSO\nabbed(1), abbed-serve(1), abbed-setup(1)\n")
	return []byte(b.String())
}
