package config

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
)

// WriteExample writes a settings file with every key at its default, each with
// its use, its useful range and its price.
func WriteExample(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprint(b, exampleHead)
	def, above := Default(), ""
	for _, f := range table {
		parent, leaf, nested := cutLast(f.Key)
		if !nested {
			leaf = f.Key
		}
		if parent != above {
			if nested {
				fmt.Fprintf(b, "\n%s:\n", parent)
			}
			above = parent
		} else {
			fmt.Fprintln(b)
		}
		indent := strings.Repeat("  ", strings.Count(f.Key, "."))
		for _, line := range wrap(f.comment(&def), 78-len(indent)) {
			fmt.Fprintf(b, "%s# %s\n", indent, line)
		}
		fmt.Fprintf(b, "%s%s: %s\n", indent, leaf, yamlValue(f.value(&def)))
	}
	return b.Flush()
}

const exampleHead = `# Settings of abbed, every one at its default. Lengths are mm, speeds mm/s.
# null means: not set; the printer is asked, or a default is said to be one.
# Each is also ABBED_... in the environment (survey.columns is
# ABBED_SURVEY_COLUMNS) and --set key=value; flags win over the environment, the
# environment wins over this file.

`

// comment is what the example says of the field.
func (f Field) comment(def *Settings) []string {
	first := f.Use + "."
	facts := "Default " + strings.Trim(show(f.value(def)), `"`)
	switch v := f.value(def).(type) {
	case nil:
		facts = "Default: not set"
	case string:
		if v == "" {
			facts = "Default: empty"
		}
	case map[string]string:
		facts = "Default: none"
	}
	if f.Words != nil {
		facts += "; one of " + f.Shape()
	} else if r := f.Range(); r != "" {
		facts += "; useful " + r
	}
	if sh := f.Shape(); strings.Contains(sh, ",") && f.Words == nil {
		facts += "; written " + sh
	}
	return []string{first, facts + ".", "Price: " + f.Price + "."}
}

// wrap breaks paragraphs into lines of at most width characters.
func wrap(paragraphs []string, width int) []string {
	var out []string
	for _, p := range paragraphs {
		line := ""
		for _, word := range strings.Fields(p) {
			if line != "" && len(line)+1+len(word) > width-2 {
				out, line = append(out, line), ""
			}
			if line != "" {
				line += " "
			}
			line += word
		}
		out = append(out, line)
	}
	return out
}

// yamlValue gives a value as YAML.
func yamlValue(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case time.Duration:
		return span(v)
	case map[string]string:
		return "{}"
	}
	return show(v)
}
