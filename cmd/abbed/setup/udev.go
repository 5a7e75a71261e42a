package setup

import (
	"fmt"
	"strings"
)

// Rule is a udev rule for one adapter that the owner has given to a printer: it
// makes the link /dev/abbed/NAME, keeps modem managers from talking to the
// printer, and has the service started when the adapter is plugged in. The link
// of /dev/serial is set by the system's own 60-serial.rules before this one is
// read (udev(7), SYMLINK as a match).
func Rule(name, link string, stays bool) string {
	by := "the adapter is known by its own number"
	if stays {
		by = "the adapter has no number of its own, and is known by the socket it is plugged into"
	}
	return fmt.Sprintf(`# Written by abbed setup for the printer %[1]s: %[2]s.
ACTION!="remove", SUBSYSTEM=="tty", SYMLINK=="%[3]s", SYMLINK+="abbed/%[1]s", ENV{ID_MM_DEVICE_IGNORE}="1", TAG+="systemd", ENV{SYSTEMD_WANTS}+="abbed@%[1]s.service"
`, name, by, glob(strings.TrimPrefix(link, "/dev/")))
}

// glob quotes a name for a match: what might be a pattern, an escape or the end of
// the text stands for any one character.
func glob(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x80 && (r == '/' || strings.ContainsRune("#+-.:=@_,", r) || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') {
			return r
		}
		return '?'
	}, s)
}
