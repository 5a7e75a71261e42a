package access_test

import (
	"crypto/tls"
	"crypto/x509"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/access"
)

// TestOwn: the certificate holds for the names and addresses of the machine, stays the
// same at the next start, and is made anew for another address, by the same authority:
// a phone that trusts it goes on.
func TestOwn(t *testing.T) {
	dir, now := t.TempDir(), time.Now()
	open := func(at time.Time, names ...string) access.Own {
		t.Helper()
		o, err := access.OpenOwn(dir, names, at)
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	trusted := func(o access.Own, name string, at time.Time, authority []byte) error {
		t.Helper()
		pair, err := tls.LoadX509KeyPair(o.Certificate, o.Key)
		if err != nil {
			t.Fatal(err)
		}
		roots := x509.NewCertPool()
		roots.AppendCertsFromPEM(authority)
		_, err = pair.Leaf.Verify(x509.VerifyOptions{DNSName: name, Roots: roots, CurrentTime: at})
		return err
	}
	first := open(now, "192.168.1.20", "shed", "shed.local")
	authority, err := os.ReadFile(first.Authority)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"192.168.1.20", "shed", "shed.local", "localhost", "127.0.0.1", "::1"} {
		if err := trusted(first, name, now, authority); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if again := open(now.Add(24*time.Hour), "192.168.1.20", "shed", "shed.local"); again != first {
		t.Errorf("at the next start another one: %+v, was %+v", again, first)
	}
	if again := open(now.Add(-3*365*24*time.Hour), "192.168.1.20", "shed", "shed.local"); again != first {
		t.Error("a clock that is behind at the start, as on a board without a battery, made another one")
	}
	moved := open(now, "192.168.7.9", "shed", "shed.local")
	if moved.Fingerprint == first.Fingerprint || trusted(moved, "192.168.7.9", now, authority) != nil {
		t.Error("for another address of a private network the phone has to trust anew")
	}
	late := now.Add(790 * 24 * time.Hour)
	if old := open(late, "192.168.7.9", "shed"); old.Fingerprint == moved.Fingerprint || trusted(old, "shed", late, authority) != nil {
		t.Error("a certificate that is nearly over was not made anew by the same authority")
	}
	open(now, "printer.example")
	if other, err := os.ReadFile(first.Authority); err != nil || string(other) == string(authority) {
		t.Error("the authority signs for a name beyond its constraints")
	}
	for _, key := range []string{first.Key, filepath.Join(dir, "authority-key.pem")} {
		if i, err := os.Stat(key); err != nil || i.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", key, i.Mode(), err)
		}
	}
}

// TestOwnByOthers: openssl (outside the project) takes the chain and shows the same
// fingerprint.
func TestOwnByOthers(t *testing.T) {
	tool, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("openssl is not installed")
	}
	o, err := access.OpenOwn(t.TempDir(), []string{"192.168.1.20", "shed.local"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ says, args string }{
		{": OK", "verify -purpose sslserver -verify_ip 192.168.1.20 -CAfile " + o.Authority + " " + o.Certificate},
		{o.Fingerprint, "x509 -noout -fingerprint -sha256 -in " + o.Certificate},
	} {
		out, err := exec.Command(tool, strings.Fields(c.args)...).CombinedOutput()
		if err != nil || !strings.Contains(string(out), c.says) {
			t.Errorf("openssl %s: %v\n%s\nwant %s", c.args, err, out, c.says)
		}
	}
}
