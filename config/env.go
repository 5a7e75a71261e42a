package config

import (
	"path/filepath"
	"slices"
	"strings"
)

// envPrefix begins the names of our variables in the environment.
const envPrefix = "ABBED_"

// envConfig names the settings file in the environment.
const envConfig = envPrefix + "CONFIG"

// parseEnv reads our variables; also lists further names that may be there.
// A variable that is set to nothing counts as not set.
func parseEnv(environ, also []string) *layer {
	l := newLayer()
	byEnv := map[string]Field{}
	names := []string{envConfig}
	for _, f := range table {
		byEnv[f.Env()] = f
		names = append(names, f.Env())
	}
	for _, line := range environ {
		name, text, _ := strings.Cut(line, "=")
		if !strings.HasPrefix(name, envPrefix) || name == envConfig || slices.Contains(also, name) {
			continue
		}
		f, ok := byEnv[name]
		if !ok {
			hint := "names no setting; unset it"
			if near := nearest(name, names); near != "" {
				hint += ", or did you mean " + near + "?"
			}
			l.fault("environment", name, "", hint)
			continue
		}
		if text != "" {
			l.text("environment", name, f, text)
		}
	}
	return l
}

// text takes a field's value from a text; shown is the name it goes by there.
func (l *layer) text(source, shown string, f Field, text string) {
	v, err := f.fromText(text)
	if err != nil {
		l.fault(source, shown, quote(text), err.Error()+"; "+f.hint())
		return
	}
	texts, named := v.(map[string]string)
	if !named {
		l.set(f.Key, source+": "+shown, v)
		return
	}
	for name, t := range texts {
		if !nameShape.MatchString(name) {
			l.fault(source, shown, quote(name), "needs names of small letters, digits, - and _")
			continue
		}
		l.set(f.Key+"."+name, source+": "+shown, t)
	}
}

// lookup returns a variable of environ; the last one counts.
func lookup(environ []string, name string) string {
	found := ""
	for _, line := range environ {
		if n, v, _ := strings.Cut(line, "="); n == name {
			found = v
		}
	}
	return found
}

// StateDir returns where the state is kept if nobody says so: the directory
// that a service manager gives, else that of the XDG base directory
// specification, else abbed-state in the working directory.
func StateDir(environ []string) string {
	if d, _, _ := strings.Cut(lookup(environ, "STATE_DIRECTORY"), ":"); filepath.IsAbs(d) {
		return d
	}
	if d := lookup(environ, "XDG_STATE_HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, "abbed")
	}
	if d := lookup(environ, "HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, ".local", "state", "abbed")
	}
	return "abbed-state"
}
