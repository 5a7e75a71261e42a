package known

import (
	"testing"

	"abbed/config"
	"abbed/probe/record"
)

// The words of the settings are those of the record.
func TestProbeKind(t *testing.T) {
	for word, want := range map[string]record.ProbeKind{
		config.KindUnknown: record.KindUnknown, config.KindContact: record.KindContact, config.KindInductive: record.KindInductive,
		config.KindOptical: record.KindOptical, config.KindNozzle: record.KindNozzle,
	} {
		if got := probeKind(word); got != want {
			t.Errorf("%s is %q, want %q", word, got, want)
		}
	}
}
