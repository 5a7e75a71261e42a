package config

import (
	"os"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/pflag"
	"github.com/spf13/viper"
)

// Options say where Load reads.
type Options struct {
	// File is the settings file; empty: the flag --config, else ABBED_CONFIG,
	// else none.
	File string
	// Environ is the environment as os.Environ gives it; nil: that one.
	Environ []string
	// AlsoEnv lists variables ABBED_... that are no settings and may be there.
	AlsoEnv []string
	// Flags is a set that AddFlags was given, parsed; nil: no flags.
	Flags *pflag.FlagSet
	// Read reads the file; nil: from disk.
	Read func(name string) ([]byte, error)
}

// Load reads file, environment and flags over the defaults and checks the
// outcome. Its error is an *Error with every fault; the settings that come with
// it are then not to be used.
func Load(o Options) (Settings, error) {
	if o.Environ == nil {
		o.Environ = os.Environ()
	}
	if o.Read == nil {
		o.Read = readFile
	}
	layers := []*layer{o.file(), parseEnv(o.Environ, o.AlsoEnv), parseFlags(o.Flags)}
	s, err := merge(layers)
	var faults []Fault
	for _, l := range layers {
		faults = append(faults, l.faults...)
	}
	if err != nil {
		faults = append(faults, Fault{Field: "settings", Hint: err.Error()})
	}
	s.Given = given(layers)
	for _, f := range s.Validate() {
		f.Source = s.Given[f.Field]
		faults = append(faults, f)
	}
	if len(faults) > 0 {
		return s, &Error{Faults: faults}
	}
	s.size()
	if s.State == "" {
		s.State = StateDir(o.Environ)
	}
	return s, nil
}

// file reads the settings file, if one is named.
func (o Options) file() *layer {
	name := o.File
	if o.Flags != nil && name == "" {
		if f := o.Flags.Lookup(flagConfig); f != nil && f.Changed {
			name = f.Value.String()
		}
	}
	if name == "" {
		name = lookup(o.Environ, envConfig)
	}
	if name == "" {
		return newLayer()
	}
	b, err := o.Read(name)
	if err != nil {
		l := newLayer()
		l.fault(name, "file", "", err.Error()+"; name one that is there, or leave --config out")
		return l
	}
	return parseFile(name, b)
}

// merge lays the layers over the defaults, the last on top.
func merge(layers []*layer) (Settings, error) {
	v := viper.New()
	for _, l := range layers {
		for key, value := range l.values {
			v.Set(key, value)
		}
	}
	s := Default()
	err := v.UnmarshalExact(&s, strict)
	return s, err
}

// strict keeps the decoder from turning one type into another: the values have
// their types already, so that anything it would have to convert is a slip.
func strict(c *mapstructure.DecoderConfig) {
	c.WeaklyTypedInput = false
	c.DecodeHook = nil
}

// given lists what was set, and where the topmost layer took it from.
func given(layers []*layer) map[string]string {
	out := map[string]string{}
	for _, l := range layers {
		for key, source := range l.source {
			out[key] = source
		}
	}
	return out
}
