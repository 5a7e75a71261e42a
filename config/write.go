package config

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// Line is one setting as WriteSettings writes it.
type Line struct {
	// YAML is the value as it stands in the file.
	YAML string
	// Why says where the value comes from; it becomes a comment.
	Why string
	// Doubt leaves the line as a comment, for the owner to look at first.
	Doubt bool
}

// WriteSettings writes a settings file: the lines by their key, and what else an owner
// chooses as a comment at its default, so that what nobody chose stays unset. A text by
// name has the key of its group and its name: words.patterns.lever. It panics on a key
// that is no setting.
func WriteSettings(w io.Writer, head string, lines map[string]Line) error {
	for key := range lines {
		if _, ok := find(key); ok {
			continue
		}
		if parent, _, cut := cutLast(key); !cut || !byName(parent) {
			panic("config: WriteSettings: no setting " + key)
		}
	}
	b := bufio.NewWriter(w)
	remark(b, "", head)
	def, above, part := Default(), "", ""
	for _, f := range table {
		if f.Part != "" {
			part = f.Part
		}
		if f.More && !written(lines, f.Key) {
			continue
		}
		fmt.Fprintln(b)
		if part != "" {
			remark(b, "", "== "+part)
			fmt.Fprintln(b)
			part = ""
		}
		parent, leaf, nested := cutLast(f.Key)
		if !nested {
			leaf = f.Key
		} else if parent != above {
			fmt.Fprintf(b, "%s%s:\n", off(!anySet(lines, parent)), parent)
		}
		above = parent
		f.writeLines(b, leaf, strings.Repeat("  ", strings.Count(f.Key, ".")), lines, &def)
	}
	return b.Flush()
}

// written reports whether there is a line for a key, or for a text by name below it.
func written(lines map[string]Line, key string) bool {
	_, ok := lines[key]
	for k := range lines {
		ok = ok || strings.HasPrefix(k, key+".")
	}
	return ok
}

// anySet reports whether something of a group is set.
func anySet(lines map[string]Line, group string) bool {
	for key, l := range lines {
		if strings.HasPrefix(key, group+".") && !l.Doubt {
			return true
		}
	}
	return false
}

// writeLines writes one setting.
func (f Field) writeLines(b io.Writer, leaf, indent string, lines map[string]Line, def *Settings) {
	says := f.Says
	if f.Words != nil && !strings.Contains(says, f.Words[0]+":") {
		says += " One of " + f.Shape() + "."
	}
	remark(b, indent, says)
	if byName(f.Key) {
		f.writeNames(b, leaf, indent, lines)
		return
	}
	l, ok := lines[f.Key]
	if !ok {
		l = Line{YAML: yamlValue(f.value(def)), Doubt: true}
	}
	if l.Why != "" {
		remark(b, indent, "Set because: "+l.Why+".")
	}
	fmt.Fprintf(b, "%s%s%s: %s\n", indent, off(l.Doubt), leaf, l.YAML)
}

// writeNames writes texts by name.
func (f Field) writeNames(b io.Writer, leaf, indent string, lines map[string]Line) {
	fmt.Fprintf(b, "%s%s%s:\n", indent, off(!anySet(lines, f.Key)), leaf)
	for _, key := range slices.Sorted(maps.Keys(lines)) {
		name, ours := strings.CutPrefix(key, f.Key+".")
		if !ours {
			continue
		}
		l := lines[key]
		if l.Why != "" {
			remark(b, indent+"  ", "Set because: "+l.Why+".")
		}
		fmt.Fprintf(b, "%s%s%s: %s\n", indent+"  ", off(l.Doubt), name, l.YAML)
	}
}

// off marks a line that the owner has to look at first.
func off(doubt bool) string {
	if doubt {
		return "#"
	}
	return ""
}

func remark(b io.Writer, indent, text string) {
	for _, line := range wrap(text, 78-len(indent)) {
		fmt.Fprintf(b, "%s# %s\n", indent, line)
	}
}

// YAML reads a setting's value from a text, as a flag gives it, and returns it as
// it stands in a file. The error says what the setting needs.
func YAML(key, text string) (string, error) {
	f, ok := find(key)
	if !ok || byName(key) {
		return "", fmt.Errorf("%s: %s", key, unknown(key))
	}
	v, err := f.fromText(text)
	if err != nil {
		return "", fmt.Errorf("%w; %s", err, f.hint())
	}
	c := &check{}
	if c.field(f, v); len(c.faults) > 0 {
		return "", fmt.Errorf("%s; %s", c.faults[0].Value, c.faults[0].Hint)
	}
	return flow(v), nil
}

// Texts returns what was given of s as it stands in a file, by key.
func Texts(s Settings) map[string]string {
	out := map[string]string{}
	for _, f := range table {
		v := f.value(&s)
		if texts, named := v.(map[string]string); named {
			for name, text := range texts {
				out[f.Key+"."+name] = quote(text)
			}
		} else if _, given := s.Given[f.Key]; given {
			out[f.Key] = flow(v)
		}
	}
	return out
}

// flow gives a value as YAML, places as lists.
func flow(v any) string {
	switch v := v.(type) {
	case Rect:
		return fmt.Sprintf("[%s, %s, %s, %s]", number(v.X0), number(v.Y0), number(v.X1), number(v.Y1))
	case XY:
		return fmt.Sprintf("[%s, %s]", number(v.X), number(v.Y))
	}
	return yamlValue(v)
}

// Defaults returns what each setting is if nobody sets it, by key; "" for none.
func Defaults() map[string]string {
	out, def := map[string]string{}, Default()
	for _, f := range table {
		if v := f.value(&def); v != nil && v != "" && !byName(f.Key) {
			out[f.Key] = strings.Trim(show(v), `"`)
		}
	}
	return out
}
