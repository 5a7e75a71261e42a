package outside

import (
	"net/netip"
	"strings"
)

// Loopback reports whether a host, by name or address, is this machine for itself only.
func Loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil && ip.Unmap().IsLoopback()
}
