package config_test

import (
	"slices"
	"testing"

	"abbed/config"
)

// What is open beyond this machine has to be said whole.
func TestAccessFaults(t *testing.T) {
	for name, try := range map[string]struct {
		access config.Access
		faults []string
	}{
		"nothing":                {config.Access{}, nil},
		"a phone":                {config.Access{From: config.FromPhone}, nil},
		"a proxy alone":          {config.Access{From: config.FromProxy}, []string{"access.hosts", "access.proxies"}},
		"a proxy":                {config.Access{From: config.FromProxy, Hosts: "printer.example", Proxies: "192.0.2.7", Plain: true}, nil},
		"with certificate":       {config.Access{From: config.FromPhone, Hosts: "[2001:db8::4]:8077, 192.0.2.4", Certificate: "c", Key: "k"}, nil},
		"certificate alone":      {config.Access{Certificate: "c"}, []string{"access.certificate"}},
		"key alone":              {config.Access{Key: "c"}, []string{"access.certificate"}},
		"a url as a name":        {config.Access{Hosts: "https://printer.example"}, []string{"access.hosts"}},
		"a star as a name":       {config.Access{Hosts: "*"}, []string{"access.hosts"}},
		"port 0":                 {config.Access{Hosts: "printer.example:0"}, []string{"access.hosts"}},
		"a name as a proxy":      {config.Access{Proxies: "proxy.example"}, []string{"access.proxies"}},
		"half a network":         {config.Access{Scrapers: "192.0.2.0/33"}, []string{"access.scrapers"}},
		"an address with a zone": {config.Access{Scrapers: "fe80::1%eth0"}, []string{"access.scrapers"}},
	} {
		s := config.Default()
		if s.Access = try.access; s.Access.From == "" {
			s.Access.From = config.FromMachine
		}
		var got []string
		for _, f := range s.Validate() {
			got = append(got, f.Field)
			if f.Hint == "" {
				t.Errorf("%s: %s says no remedy", name, f.Field)
			}
		}
		if !slices.Equal(got, try.faults) {
			t.Errorf("%s: faults in %v, want %v", name, got, try.faults)
		}
	}
}

// TestProxyElsewhere: a proxy on another machine needs a certificate, or the word that
// none is wanted.
func TestProxyElsewhere(t *testing.T) {
	s := config.Default()
	s.Access = config.Access{From: config.FromProxy, Hosts: "printer.example", Proxies: "192.0.2.7"}
	for listen, faults := range map[string]int{"127.0.0.1:8077": 0, "[::1]:8077": 0, "192.0.2.4:8077": 1} {
		s.Listen = listen
		if got := s.Validate(); len(got) != faults {
			t.Errorf("%s: %v", listen, got)
		}
	}
}

func TestNetworks(t *testing.T) {
	nets, bad := config.Networks(" 192.0.2.7, ::ffff:192.0.2.8 ,198.51.100.9/24,,2001:db8::/32")
	if bad != "" || len(nets) != 4 || nets[1].String() != "192.0.2.8/32" || nets[2].String() != "198.51.100.0/24" {
		t.Errorf("%v %q", nets, bad)
	}
}
