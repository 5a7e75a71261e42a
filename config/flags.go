package config

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/pflag"
)

// Names of the flags that are no fields.
const (
	flagConfig = "config"
	flagSet    = "set"
)

// AddFlags adds the flags of the settings to fs: --config, --set key=value,
// and one for each field that has its own; with keys given, only those of
// these keys (and no --config and --set unless "config" and "set" are among
// them). Load takes of them only what was really set.
func AddFlags(fs *pflag.FlagSet, keys ...string) {
	wanted := func(key string) bool { return len(keys) == 0 || slices.Contains(keys, key) }
	def := Default()
	for _, f := range table {
		if f.Flag == "" || !wanted(f.Key) {
			continue
		}
		v := &flagValue{field: f}
		if d := f.value(&def); d != nil && d != "" {
			v.text = strings.Trim(show(d), `"`)
		}
		fs.Var(v, f.Flag, f.Says)
	}
	if wanted(flagConfig) {
		fs.String(flagConfig, "", "Settings file (YAML).")
	}
	if wanted(flagSet) {
		fs.StringArray(flagSet, nil, "Any setting, as key=value; give it again for more. All settings: abbed help settings.")
	}
}

// flagValue is a field's own flag; it checks its value as it is given.
type flagValue struct {
	field Field
	text  string
}

func (v *flagValue) String() string { return v.text }

func (v *flagValue) Type() string {
	switch v.field.Shape() {
	case "X,Y", "X0,Y0,X1,Y1":
		return v.field.Shape()
	case "a number":
		return v.field.Unit
	}
	return "text"
}

func (v *flagValue) Set(text string) error {
	if _, err := v.field.fromText(text); err != nil {
		return errors.New(err.Error() + "; " + v.field.hint())
	}
	v.text = text
	return nil
}

// parseFlags takes what was really set of the flags that AddFlags made.
func parseFlags(fs *pflag.FlagSet) *layer {
	l := newLayer()
	if fs == nil {
		return l
	}
	if set, err := fs.GetStringArray(flagSet); err == nil {
		for _, s := range set {
			l.pair(s)
		}
	}
	fs.Visit(func(fl *pflag.Flag) {
		v, ours := fl.Value.(*flagValue)
		if !ours {
			return
		}
		if where, twice := l.source[v.field.Key]; twice {
			l.fault("flags", "--"+fl.Name, quote(v.text), "is also set by "+where+"; give it once")
			return
		}
		l.text("flags", "--"+fl.Name, v.field, v.text)
	})
	return l
}

// pair takes one key=value of --set.
func (l *layer) pair(s string) {
	key, text, ok := strings.Cut(s, "=")
	if !ok {
		l.fault("flags", "--set "+quote(s), "", "needs key=value")
		return
	}
	key = strings.TrimSpace(key)
	if f, ok := find(key); ok {
		l.text("flags", "--set "+key, f, text)
		return
	}
	parent, name, cut := cutLast(key)
	if !cut || !byName(parent) {
		l.fault("flags", "--set "+key, "", unknown(key))
		return
	}
	if !nameShape.MatchString(name) {
		l.fault("flags", "--set "+key, "", "needs a name of small letters, digits, - and _")
		return
	}
	l.set(key, "flags: --set "+key, text)
}
