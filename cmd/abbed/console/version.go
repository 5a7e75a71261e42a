package console

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version of the program, and the commit it was built from; deploy/build sets
// them with -ldflags.
var (
	Version = "0.1-dev"
	Commit  = ""
)

func VersionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Say which version this is.",
		RunE: func(c *cobra.Command, _ []string) error {
			_, err := fmt.Fprintf(c.OutOrStdout(), "abbed %s (commit %s, %s, %s/%s)\n", Version, builtFrom(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}

// builtFrom names the commit: as it was set, else as the compiler noted it.
func builtFrom() string {
	if Commit != "" {
		return Commit
	}
	if b, ok := debug.ReadBuildInfo(); ok {
		for _, s := range b.Settings {
			if s.Key == "vcs.revision" {
				return s.Value
			}
		}
	}
	return "unknown"
}
