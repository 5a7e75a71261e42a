package console

import (
	"github.com/spf13/pflag"

	"abbed/config"
)

// SharedFlag marks flags that many commands have: each is shown in one place only.
const SharedFlag = "shared"

// AddShared adds flags that are shown elsewhere: where says in which help.
func AddShared(to, flags *pflag.FlagSet, where string) {
	flags.VisitAll(func(f *pflag.Flag) { f.Annotations = map[string][]string{SharedFlag: {where}} })
	to.AddFlagSet(flags)
}

// AddSettings adds the flags of settings, which serve --help shows.
func AddSettings(to *pflag.FlagSet, keys ...string) {
	flags := pflag.NewFlagSet("settings", pflag.ContinueOnError)
	config.AddFlags(flags, keys...)
	AddShared(to, flags, "abbed serve --help")
}

// AlsoEnv are variables of the environment that are no settings.
var AlsoEnv = []string{"ABBED_URL", "ABBED_TOKEN_FILE", "ABBED_CA"}
