package e2e_test

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/cmd/abbed/ask"
)

// TestPinned: a command trusts the certificate of the printer's own settings, for whatever
// names it is made, and no other; whoever may not read the token looks and stops without.
func TestPinned(t *testing.T) {
	cert, key := ownCertificate(t)
	other, _ := ownCertificate(t)
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, `{"requested":false,"text":"token %s."}`, r.Header.Get("Authorization"))
	}))
	s.TLS = &tls.Config{Certificates: []tls.Certificate{pair}}
	s.StartTLS()
	defer s.Close()
	_, at, _ := net.SplitHostPort(s.Listener.Addr().String())
	dir := t.TempDir()
	for name, shows := range map[string]string{"left": cert, "right": other} {
		text := fmt.Sprintf("listen: 0.0.0.0:%s\nstate: %s\naccess: {from: phone, hosts: left.example, certificate: %s, key: %s}\n", at, dir, shows, key)
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		k := ask.Caller{Printer: name, Dirs: []string{dir}}
		a, err := k.Dial()
		if err != nil {
			t.Fatal(err)
		}
		said, err := a.Stop(t.Context())
		if name == "left" && (err != nil || said.Text != "token .") {
			t.Errorf("%+v, %v", said, err)
		}
		if name == "right" && (err == nil || !strings.Contains(err.Error(), "another certificate")) {
			t.Errorf("another certificate: %v", err)
		}
	}
}
