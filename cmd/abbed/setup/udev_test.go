package setup_test

import (
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"

	"abbed/cmd/abbed/setup"
)

var ruleFile = flag.String("rule", "", "file for a rule, for deploy/check-service")

// TestRule: the rule is one line of the pairs that udev(7) names, matches with ==
// or != and sets with += or =; what might be a pattern in a link's name is none.
// deploy/check-service has udev itself play it.
func TestRule(t *testing.T) {
	pair := regexp.MustCompile(`^(ACTION|SUBSYSTEM|SYMLINK|TAG|ENV\{[A-Z_]+\})(==|!=|\+=|=)"([^"\n]*)"$`)
	text := setup.Rule("left", `/dev/serial/by-id/usb-a_[7]*?"$-if00-port0`, false)
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) != 2 || !strings.HasPrefix(lines[0], "#") {
		t.Fatalf("not a comment and a line:\n%s", text)
	}
	got := map[string]string{}
	for _, p := range strings.Split(lines[1], ", ") {
		m := pair.FindStringSubmatch(p)
		if m == nil {
			t.Errorf("no pair: %s", p)
			continue
		}
		got[m[1]+m[2]] = m[3]
	}
	for key, want := range map[string]string{
		"SYMLINK==": "serial/by-id/usb-a_?7?????-if00-port0", "SYMLINK+=": "abbed/left", "SUBSYSTEM==": "tty", "ACTION!=": "remove",
		"ENV{SYSTEMD_WANTS}+=": "abbed@left.service", "TAG+=": "systemd",
	} {
		if got[key] != want {
			t.Errorf("%s is %q, want %q", key, got[key], want)
		}
	}
	if *ruleFile != "" {
		if err := os.WriteFile(*ruleFile, []byte(setup.Rule("left", "/dev/serial/by-id/usb-a_7-if00-port0", false)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
