package config

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
)

// WriteAll lists every setting with its default, its range and its use.
func WriteAll(w io.Writer) error {
	b, def := bufio.NewWriter(w), Default()
	fmt.Fprint(b, allHead)
	for _, f := range table {
		fmt.Fprintf(b, "\n%s: %s", f.Key, yamlValue(f.value(&def)))
		if f.Words != nil {
			fmt.Fprintf(b, "   (%s)", f.Shape())
		} else if r := f.Range(); r != "" {
			fmt.Fprintf(b, "   (%s)", r)
		}
		fmt.Fprintln(b)
		for _, line := range wrap(f.Says, 76) {
			fmt.Fprintf(b, "    %s\n", line)
		}
	}
	return b.Flush()
}

const allHead = `Every setting, with its default and its range. Write a.b in the file as b below a.
Or give --set a.b=value, or ABBED_A_B=value in the environment. A flag wins over the
environment, and the environment wins over the file.
`

// wrap breaks a paragraph into lines of at most width characters.
func wrap(p string, width int) (out []string) {
	line := ""
	for _, word := range strings.Fields(p) {
		if line != "" && len(line)+1+len(word) > width {
			out, line = append(out, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(out, line)
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
