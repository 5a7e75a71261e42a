package daemon

import (
	"abbed/config"
	"abbed/probe/record"
)

// probeKind is the kind of probe that the settings name; unknown is "".
func probeKind(s string) record.ProbeKind {
	if s == config.KindUnknown {
		return record.KindUnknown
	}
	return record.ProbeKind(s)
}
