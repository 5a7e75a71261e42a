package config_test

import (
	"errors"
	"testing"

	"github.com/spf13/pflag"

	"abbed/config"
)

// FuzzSet gives whatever to --set and to the environment: either settings that
// hold, or faults that each name a remedy; never a panic, never a value that
// Validate would not take.
func FuzzSet(f *testing.F) {
	f.Add("retention.days=9", "ABBED_BAUD=115200")
	f.Add("access.from=proxy", "ABBED_ACCESS_HOSTS=printer.example,*")
	f.Add("words.patterns={touch: '('}", "ABBED_WORDS_TEMPLATES={home: \"G28\\nM500\"}")
	f.Add("access.scrapers=::/0,fe80::1%x", "ABBED_CLEARANCE=NaN")
	f.Add("bed=0,0,1e999,1", "ABBED_NOTHING=1")
	f.Add("words.templates.home=G28 \x00", "ABBED_SOCKET=\x7f")
	f.Fuzz(func(t *testing.T, set, env string) {
		fs := pflag.NewFlagSet("x", pflag.ContinueOnError)
		config.AddFlags(fs)
		if fs.Set("set", set) != nil {
			return
		}
		s, err := config.Load(config.Options{Flags: fs, Environ: []string{"HOME=/h", env}, Read: func(string) ([]byte, error) { return nil, errors.New("no files here") }})
		if err == nil {
			if faults := s.Validate(); len(faults) > 0 {
				t.Errorf("loaded with %v", faults)
			}
			return
		}
		var all *config.Error
		if !errors.As(err, &all) || len(all.Faults) == 0 {
			t.Fatalf("%v is no list of faults", err)
		}
		for _, x := range all.Faults {
			if x.Hint == "" || x.Field == "" {
				t.Errorf("%+v says no remedy", x)
			}
		}
	})
}
